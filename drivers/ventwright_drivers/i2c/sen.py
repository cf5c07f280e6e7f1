"""SEN54, SEN55, SEN66, SEN68: particle mass, climate, VOC and NOx index, and CO2 or formaldehyde.

What the part does not know yet it marks with FFFF or 7FFF, which would read as 6553.5 µg/m³ or
163.84 °C: such values are None here. VOC and NOx index need about 1 h and 6 h after switch-on
to settle (from memory). Source: protocols.md sections 16 and 17.
"""

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal, NamedTuple

from annotated_types import Interval

from ventwright_drivers.cleaning import CLEANING_MS, CleaningOptions
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.i2c.word_part import CleanedPart, concerned, named
from ventwright_drivers.i2c.words import signed
from ventwright_drivers.part import Sample

_START, _STOP, _READY, _STATUS = 0x0021, 0x0104, 0x0202, 0xD206
_SET_SELF_CALIBRATION, _SET_PRESSURE, _SET_ALTITUDE = 0x6711, 0x6720, 0x6736
_WAIT_MS, _START_MS, _MARGIN_MS = 20, 50, 500
_SETTLE = {"voc_index": 3_600_000, "nox_index": 21_600_000}  # 1 h and 6 h (from memory)
_HCHO = 30.03 / 24.45  # µg/m³ per ppb at 25 °C and 1 atm


class Field(NamedTuple):
    """How a word becomes a value: counts per canonical unit, sign, and if 0 means not yet."""

    per_unit: float
    signed: bool = False
    from_one: bool = False


_PARTICLES = {name: Field(10) for name in ("pm1", "pm2_5", "pm4", "pm10")}
_CLIMATE = {"humidity": Field(100, signed=True), "temperature": Field(200, signed=True)}
_INDEX = Field(10, signed=True, from_one=True)  # 1 to 500; 0 in its first 45 s or so
_VOC = {**_PARTICLES, **_CLIMATE, "voc_index": _INDEX}
_BOTH = {**_VOC, "nox_index": _INDEX}
_WITH_CO2 = {**_BOTH, "co2": Field(1)}
_WITH_HCHO = {**_BOTH, "hcho": Field(10 / _HCHO)}

FAULTS = {
    21: "fan speed out of range",
    12: "CO2 element failed",
    11: "particle element failed",
    10: "formaldehyde element failed",
    9: "CO2 element failed",
    7: "gas element failed",
    6: "humidity element failed",
    5: "laser failed",
    4: "fan failed",
}
"""What the bits of the status register mean; which part uses 9 and which 12 is not confirmed."""

_BLOWN = frozenset(_PARTICLES)
_GAS = frozenset(("voc_index", "nox_index"))
CONCERNS = {
    **dict.fromkeys((21, 11, 5, 4), _BLOWN),
    **dict.fromkeys((12, 9), frozenset(("co2",))),
    10: frozenset(("hcho",)),
    7: _GAS,
    6: frozenset(_CLIMATE) | _GAS,  # the indexes are corrected for humidity
}
"""The quantities that each fault spoils; the others stay good."""


def _value(word: int, field: Field) -> float | None:
    if word == (0x7FFF if field.signed else 0xFFFF) or (field.from_one and not word):
        return None
    return (signed(word) if field.signed else word) / field.per_unit


def decode(
    words: tuple[int, ...], fields: dict[str, Field], status: tuple[int, ...] = (0, 0)
) -> Sample:
    """Read a sample in the order of `fields`: units of QUANTITIES; unknown is None."""
    pairs = zip(words, fields.values(), strict=False)  # an SEN54 sends one word more, unknown
    values = tuple(_value(word, field) for word, field in pairs)
    return Sample(values, named(status, FAULTS), concerned(status, CONCERNS))


@dataclass(frozen=True)
class Sen5xOptions(CleaningOptions, I2COptions):
    """Where an SEN54 or SEN55 is, and how often its fan is to be cleaned."""

    address: Literal[0x69] = 0x69
    """Fixed, and the SPS30's too: the two cannot share a bus."""


@dataclass(frozen=True)
class Sen6xOptions(CleaningOptions, I2COptions):
    """Where an SEN66 or SEN68 is, and how often its fan is to be cleaned."""

    address: Literal[0x6B] = 0x6B
    """Fixed."""


@dataclass(frozen=True)
class Sen66Options(Sen6xOptions):
    """Where an SEN66 is, what air it expects, and how often its fan is to be cleaned."""

    self_calibration: bool = False
    """Let the part take its lowest CO2 readings for fresh air: leave it off in rooms that never
    air out."""

    altitude: Annotated[int, Interval(ge=0, le=3000)] | None = None
    """Height above the sea, m, by which CO2 is corrected for thin air."""

    pressure: Annotated[int, Interval(ge=700, le=1200)] | None = None
    """Mean air pressure of the place, hPa, in place of the altitude."""


class _Sen(CleanedPart):
    fields: ClassVar[dict[str, Field]]
    read_code: ClassVar[int]
    count: ClassVar[int]
    stop_ms: ClassVar[int]
    silence_ms = 20_000  # the fan is cleaned for 10 s, without a new particle value
    warm_up_ms = 30_000  # particles at worst (from memory)
    settle_ms: ClassVar[Mapping[str, int]] = _SETTLE
    optical_mass = True

    def prepare(self) -> None:
        """Stop what an earlier program started, set up, start; raises NoAnswer, DeviceLost."""
        with contextlib.suppress(NoAnswer):  # an idle part need not take it
            self.order(_STOP, wait_ms=self.stop_ms)
        self.set_up()
        self.order(_START, wait_ms=_START_MS)

    def set_up(self) -> None:
        """Send what the idle part needs; nothing by default."""

    def sample(self) -> Sample | None:
        """Take the newest sample, None if it was taken before; raises NoAnswer, DeviceLost."""
        (ready,) = self.words(_READY, 1, wait_ms=_WAIT_MS)
        if not ready & 1:
            return None
        words = self.words(self.read_code, self.count, wait_ms=_WAIT_MS)
        status = self.words(_STATUS, 2, wait_ms=_WAIT_MS)
        return decode(words, self.fields, status)


class _Sen5x(_Sen):
    laser_hours = 87_600  # over ten years (from memory)
    Options = Sen5xOptions
    read_code, count, stop_ms = 0x03C4, 8, 200


class Sen54(_Sen5x):
    """SEN54: PM2.5 ±(5 µg/m³ + 5 %) up to 100, ±10 % above; ±0.45 °C, ±4.5 %RH; VOC index."""

    model = "sen54"
    fields = _VOC
    quantities = tuple(_VOC)
    settle_ms: ClassVar[Mapping[str, int]] = {"voc_index": _SETTLE["voc_index"]}


class Sen55(_Sen5x):
    """SEN55: as SEN54, and the NOx index."""

    model = "sen55"
    fields = _BOTH
    quantities = tuple(_BOTH)


class _Sen6x(_Sen):
    """What is cleaned only while idle: it is stopped for that, and warms up anew afterwards."""

    stop_ms = 1400
    _steps: tuple[tuple[int, int], ...] = ()
    """What is still to be ordered: when (ms), and which command."""

    def start(self) -> None:
        """Start, whatever a cleaning has left to do; raises NoAnswer, DeviceLost."""
        self._steps = ()
        super().start()

    def clean(self) -> None:
        """Stop, clean, start again; the waits between are for others on the bus to use."""
        stopped = self.clock.now() + self.stop_ms
        started = stopped + CLEANING_MS + _MARGIN_MS
        self._steps = ((stopped, self.CLEAN), (started, _START))
        self.order(_STOP)

    def sample(self) -> Sample | None:
        """Take the newest sample, None while the fan is cleaned; raises NoAnswer, DeviceLost."""
        if not self._steps:
            return super().sample()
        (due, code), *rest = self._steps
        if self.clock.now() >= due:
            self.order(code, wait_ms=_START_MS)
            self._steps = tuple(rest)
            self.restarts += code == _START
        return None


class Sen66(_Sen6x):
    """SEN66: as SEN55, and CO2, ±(50 ppm + 2.5 %) from 400 to 1000 ppm (from memory)."""

    model = "sen66"
    Options = Sen66Options
    fields = _WITH_CO2
    quantities = tuple(_WITH_CO2)
    read_code, count = 0x0300, 9

    def set_up(self) -> None:
        """Set what CO2 is corrected by."""
        self.order(_SET_SELF_CALIBRATION, int(self.options.self_calibration), wait_ms=_WAIT_MS)
        wanted = {_SET_ALTITUDE: self.options.altitude, _SET_PRESSURE: self.options.pressure}
        for code, value in wanted.items():
            if value is not None:
                self.order(code, value, wait_ms=_WAIT_MS)


class Sen68(_Sen6x):
    """SEN68: as SEN55, and formaldehyde in µg/m³, ±25 µg/m³ class (from memory), after 60 s."""

    model = "sen68"
    Options = Sen6xOptions
    fields = _WITH_HCHO
    quantities = tuple(_WITH_HCHO)
    read_code, count = 0x0467, 9
    settle_ms: ClassVar[Mapping[str, int]] = {**_SETTLE, "hcho": 60_000}  # unknown until then
