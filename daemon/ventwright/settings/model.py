"""The configuration, once checked: plain frozen dataclasses, the one place that names its keys.

They need no library, so the keeper can hold them without loading one; `load.py` fills them.
Lengths of time are whole ms here and written as text in the file.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from annotated_types import Ge, Gt, Interval, MinLen

from ventwright.settings.durations import UNITS_MS, DurationMark
from ventwright.standards.humid import KAPPA

Duration = Annotated[int, DurationMark()]
Name = Annotated[str, MinLen(1)]
Priority = Literal["low", "medium", "high"]
PRIORITIES = ("low", "medium", "high")

SECOND, MINUTE, HOUR, DAY = (UNITS_MS[unit] for unit in ("s", "min", "h", "d"))


@dataclass(frozen=True)
class Room:
    """The room that is watched."""

    name: Name
    volume: Annotated[float, Gt(0)]
    """Air volume, m³."""
    volume_error: Annotated[float, Interval(ge=0, le=1)] = 0.05
    """How far the volume may be off, a share of it (standard uncertainty)."""
    mixing: Annotated[float, Interval(ge=1, le=10)] = 1.0
    """Mixing factor for sizing: 1 for air that is well stirred, up to 10 for dead corners."""


@dataclass(frozen=True)
class Calibration:
    """How a channel is put right: `[parts.NAME.calibration.QUANTITY]`."""

    offset: float = 0.0
    """What is added after the slope, in the channel's unit."""
    slope: Annotated[float, Gt(0)] = 1.0
    """By what the part's value is multiplied."""


@dataclass(frozen=True)
class PartEntry:
    """A sensor part by its name: `[parts.NAME]`."""

    model: str
    driver: str
    """Where its driver is, as `module:Class`."""
    options: Any
    """The driver's own options."""
    quantities: tuple[str, ...]
    """The quantities kept, in the order of the driver; all of them unless the file names some."""
    humidity: str | None = None
    """The channel that tells how humid the air is that an optical part measures."""
    humidity_correction: bool = False
    """Whether optical mass is corrected for humidity before it is judged and stored."""
    kappa: float = KAPPA
    """How readily the particles take up water, for that correction."""
    calibration: dict[str, Calibration] = field(default_factory=dict)
    """By quantity; what is not named stays as the part gives it."""


@dataclass(frozen=True)
class RelayEntry:
    """A relay by its name: `[relays.NAME]`."""

    model: str
    driver: str
    options: Any
    safe_state: Literal["off", "on"]
    """What the contact is set to when the keeper dies."""
    repeat_every: int
    """Time after which an unchanged command is sent again and read back, ms."""


@dataclass(frozen=True)
class Extractor:
    """A fan behind a relay: `[extractors.NAME]`."""

    relay: str
    when_blind: Literal["on", "off"]
    """What the fan does when no trustworthy data is left to decide on."""
    blind_after: Duration = 2 * MINUTE
    minimum_on: Duration = 3 * MINUTE
    minimum_off: Duration = MINUTE
    run_on: Duration = 10 * MINUTE
    longest_run: Duration | None = None
    """How long the fan may run on end before its owner is told, ms; without limit unless given."""
    after_longest_run: Literal["go on", "rest"] = "go on"
    rest: Duration = 15 * MINUTE
    """How long it rests after its longest run, if it does."""
    quiet_hours: str | None = None
    """Hours in which it does not start, such as "22:00-07:00", local time."""
    quiet_priority: Priority = "high"
    """Alarms of this priority and above start it in the quiet hours all the same."""
    turns: str | None = None
    """The channel of a tachometer that tells whether the fan turns."""
    slowest: Annotated[float, Gt(0)] = 200.0
    """The speed below which a fan stands still, 1/min."""


@dataclass(frozen=True)
class Alarm:
    """An alarm: `[alarms.NAME]`."""

    channel: str
    setpoint: float
    """What makes the condition true when reached: a mean, rise or forecast in the channel's unit, a
    rate in that unit per minute, an emission in µg/h, a departure in percent, a silence in minutes.
    In the file the name of a limit will do."""
    deadband: Annotated[float, Ge(0)]
    """The condition ends only below setpoint minus deadband."""
    compare: Literal["mean", "rise", "rate", "forecast", "departure", "emission", "silence"] = (
        "rise"
    )
    """See alarms/comparing.py."""
    over: Duration = MINUTE
    """Averaging time, ms; of a silence how long it has to last."""
    on_delay: Duration = 30 * SECOND
    off_delay: Duration = 2 * MINUTE
    ahead: Duration = 0
    """How far ahead a mean or rise looks, ms: what it will be at the rate of the last minute."""
    share: Annotated[float, Ge(0)] = 0.0
    """By what share of the baseline the setpoint of a rise grows, and its deadband with it."""
    settled: Duration = 0
    """After so long below the setpoint, ms, with no source tracked, a rise clears too; 0: never."""
    coverage: Annotated[float, Interval(gt=0, le=1)] = 0.75
    """The share of the averaging time that good readings must cover."""
    priority: Priority = "medium"
    latching: bool = False
    extract: bool = True
    """Whether this alarm runs the extractors."""
    limit: str | None = None
    """A published limit of config/limits.toml that messages compare with."""


@dataclass(frozen=True)
class SameAir:
    """Two channels that measure the same air: `[same_air.NAME]`."""

    channels: tuple[str, ...]
    """Two of one quantity, of two parts."""
    tolerance: Annotated[float, Gt(0)]
    """How far apart their 5-minute means may be, in the channels' unit."""
    share: Annotated[float, Interval(ge=0, lt=1)] = 0.3
    """The same as a share of the higher mean; the larger of the two tolerances is allowed."""


@dataclass(frozen=True)
class Storage:
    """Where things are kept: `[store]`."""

    folder: Path
    commit_every: Duration = 50 * SECOND
    keep_readings: Duration = 180 * DAY
    """How long readings are kept before only their minutes are: of time in which it recorded."""
    keep_minutes: Duration = 5 * 365 * DAY
    keep_hours: Duration = 20 * 365 * DAY
    keep_events: Duration = 5 * 365 * DAY
    most_megabytes: Annotated[int, Interval(ge=10, le=1_000_000)] = 2000
    """Where the store is larger, readings go earlier than that."""

    def __post_init__(self) -> None:
        """See that nothing is kept for less time than what it is the summary of."""
        if not self.keep_readings <= self.keep_minutes <= self.keep_hours:
            raise ValueError("keep_readings may not exceed keep_minutes, nor that keep_hours")
        if self.keep_events > self.keep_hours:
            raise ValueError("keep_events may not exceed keep_hours")


@dataclass(frozen=True)
class ClockEntry:
    """What is known of the board's clock: `[clock]`."""

    has_battery: bool = False
    """True where the clock is right at boot; else its synchronisation is awaited before pushing."""


@dataclass(frozen=True)
class Database:
    """A time-series database with the version 2 line-protocol write interface: `[database]`."""

    url: Name
    bucket: Name
    organisation: str = "-"
    measurement: Name = "room_air"
    token_file: Path | None = None
    """A file that holds the token; else the systemd credential `database-token`, if any."""
    push_every: Duration = 30 * SECOND
    batch: Annotated[int, Interval(ge=1, le=50_000)] = 5000


@dataclass(frozen=True)
class Phone:
    """Who is told: `[phone]`."""

    services_file: Path | None = None
    """A file of service addresses, one a line; else the systemd credential `phone-services`."""
    too_old: Duration = DAY
    """Messages older than this are not worth sending any more."""
    quiet: str | None = None
    """Quiet hours such as "22:00-07:00", local time."""


@dataclass(frozen=True)
class Urgency:
    """How a priority is told: `[priorities.low]`, `.medium` and `.high`."""

    repeat_every: Duration | None = None
    """An alarm that nobody acknowledged is told again so often, ms; never unless given."""
    in_quiet_hours: Literal["tell", "wait"] = "wait"
    """Whether it is told in the quiet hours, or in one message when they end."""
    to: tuple[str, ...] = ()
    """The services that get it, by their names in the services file; all unless some are named."""


@dataclass(frozen=True)
class PersonEntry:
    """Somebody who is in the room at known hours: `[people.NAME]`."""

    hours: tuple[str, ...]
    """Such as "mon-fri 08:00-13:00", local time."""
    age: Annotated[int, Interval(ge=0, le=120)]
    activity: Literal["sleep", "sedentary", "light", "moderate", "high"] = "light"
    weight: Annotated[float, Gt(0)] | None = None
    """kg; only needed where an acceptable intake is worked out."""


@dataclass(frozen=True)
class Reporting:
    """Reports and the digest: `[report]`."""

    channel: str | None = None
    """What reports are mainly about; unless given that of the first alarm on particle mass."""
    digest: Literal["none", "day", "week"] = "none"
    """How often the phone is told in short what happened."""
    digest_at: str = "18:00"
    """When, local time; of a week on its last day, Sunday."""


@dataclass(frozen=True)
class Settings:
    """Everything that the configuration file says."""

    room: Room
    store: Storage
    parts: dict[str, PartEntry]
    relays: dict[str, RelayEntry] = field(default_factory=dict)
    extractors: dict[str, Extractor] = field(default_factory=dict)
    alarms: dict[str, Alarm] = field(default_factory=dict)
    same_air: dict[str, SameAir] = field(default_factory=dict)
    clock: ClockEntry = field(default_factory=ClockEntry)
    database: Database | None = None
    phone: Phone | None = None
    priorities: dict[str, Urgency] = field(default_factory=dict)
    people: dict[str, PersonEntry] = field(default_factory=dict)
    report: Reporting = field(default_factory=Reporting)

    @property
    def socket(self) -> Path:
        """The Unix socket on which the keeper takes requests."""
        return self.store.folder / "keeper.socket"

    def urgency(self, priority: str) -> Urgency:
        """Give how a priority is told: as configured, else high at once and the others quietly."""
        plain = Urgency(in_quiet_hours="tell" if priority == "high" else "wait")
        return self.priorities.get(priority, plain)
