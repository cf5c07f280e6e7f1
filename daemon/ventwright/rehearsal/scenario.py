"""What a rehearsal plays: a room, its parts, who emits when, what breaks when. Ours, invented.

Everything is plain data; `configuration.py` writes the configuration that belongs to it, and
`world.py` brings it to life.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from ventwright.rehearsal.emission import Print, Spell
from ventwright.rehearsal.room import Pollutant
from ventwright.rehearsal.sensing import MADE_OF, Sense
from ventwright.settings.shipped import example

Wire = Literal["serial", "i2c"]
Action = Literal["hang up", "plug in", "mute", "unmute", "garble", "heal"]


@dataclass(frozen=True)
class PartSetup:
    """A part: name, model, wire, and how it sees the air."""

    name: str
    model: str
    wire: Wire
    senses: Mapping[str, Sense] = field(default_factory=dict)


@dataclass(frozen=True)
class Fault:
    """Something that breaks or heals at a time, s since the start."""

    at: int
    action: Action
    device: str
    """Name of the part, or of the relay."""


def _table() -> dict[str, dict[str, Any]]:
    return {}


@dataclass(frozen=True)
class Scenario:
    """Everything that a rehearsal needs to know."""

    name: str
    title: str
    duration: int
    """Simulated time, s."""
    room_name: str
    volume: float
    """m³"""
    leakage: float
    """1/h"""
    pollutants: tuple[Pollutant, ...]
    spells: tuple[Spell, ...]
    parts: tuple[PartSetup, ...]
    relay: str
    """Name of the relay that switches the extractor."""
    extractor: str
    """Name of the extractor."""
    exhaust: float
    """Air that the extractor takes outside while it runs, m³/h."""
    extraction: Mapping[str, Any]
    """Keys of the extractor in the configuration."""
    alarms: Mapping[str, Mapping[str, Any]] = field(default_factory=_table)
    """Alarms of the configuration, by name."""
    relay_model: Literal["relay-modbus", "relay-a0", "relay-gpio"] = "relay-modbus"
    """On a board the first relay is used, on a chip line 17."""
    faults: tuple[Fault, ...] = ()
    watched: str = "bench.pm2_5"
    """The channel that is told about while the rehearsal runs."""

    @property
    def dusty(self) -> tuple[int, int]:
        """When the first spell with fine particles begins and the last one ends, s."""
        spells = [spell for spell in self.spells if spell.rates.get("fine")]
        if not spells:
            return 0, self.duration
        return min(s.begins for s in spells), max(s.ends for s in spells)

    @property
    def leading(self) -> Mapping[str, Any]:
        """The first alarm on the watched channel."""
        return next(keys for keys in self.alarms.values() if keys["channel"] == self.watched)

    @property
    def setpoint(self) -> float:
        """The leading alarm's setpoint in this room, µg/m³: it may grow with the baseline."""
        keys = self.leading
        return float(keys["setpoint"]) + float(keys.get("share", 0)) * self.quiet_level

    @property
    def quiet_level(self) -> float:
        """PM2.5 at the beginning, µg/m³."""
        return sum(p.start for p in self.pollutants if p.name in MADE_OF["pm2_5"])


_DUST = {band: Sense(8.0, 1.03, 0.03, 0.3) for band in ("fine", "middle", "coarse")}
_SECOND_DUST = {band: Sense(10.0, 0.96, 0.04, 0.3) for band in ("fine", "middle", "coarse")}
_CLIMATE = {"temperature": Sense(20.0, 1.0, 0.0, 0.02), "vapour": Sense(20.0, 1.0, 0.0, 0.02)}
_CARBON = {
    "co2": Sense(40.0, 1.01, 0.002, 3.0),
    "temperature": Sense(60.0, 1.02, 0.0, 0.02),
    "vapour": Sense(60.0, 1.0, 0.0, 0.05),
}


def workshop_air() -> tuple[Pollutant, ...]:
    """Give the air of a quiet workshop on a mild day, in balance with the air outside.

    Deposition grows with size (limits.md section 6: PTEAM 0.39 and 0.65 /h, from memory).
    """
    return (
        Pollutant("fine", 4.0, 9.0, 0.8, 0.4, filtered=0.9),
        Pollutant("middle", 0.55, 1.5, 0.8, 0.6, filtered=0.9),
        Pollutant("coarse", 0.36, 3.0, 0.6, 2.0, filtered=0.95),
        Pollutant("hcho", 15.0, 2.0, 1.0, 0.2, 22.0),
        Pollutant("tvoc", 120.0, 40.0, 1.0, 0.5, 160.0),
        Pollutant("co", 0.2, 0.2),
        Pollutant("co2", 520.0, 425.0),
        Pollutant("temperature", 20.6, 16.0, 1.0, 6.0, 21.0),
        Pollutant("vapour", 8.0, 7.5),
        Pollutant("pressure", 1013.0, 1013.0),
    )


ONE_PRINT = Print(
    begins=1800,
    lasts=3600,
    burst={"fine": 42_000, "middle": 3000, "coarse": 900, "tvoc": 30_000, "hcho": 900},
    plateau={"fine": 3200, "middle": 240, "coarse": 80, "tvoc": 9000, "hcho": 600},
    always={"temperature": 750},  # a printer of 250 W: 3.6·250/1.2 K·m³/h
)

_PERSON = {"co2": 18_700, "vapour": 50}
"""One person: 0.0052 L/s of CO2 (emissions.md section 4, from memory); water our guess, g/h."""

DEFAULT = Scenario(
    name="one-printer",
    title="one printer in a workshop of 45 m³",
    duration=9000,
    room_name="workshop",
    volume=45.0,
    leakage=0.5,
    pollutants=workshop_air(),
    spells=(*ONE_PRINT.spells(), Spell("", 0, 2100, _PERSON), Spell("", 6600, 9000, _PERSON)),
    parts=(
        PartSetup("bench", "pms5003", "serial", _DUST),
        PartSetup("shelf", "sds011", "serial", _SECOND_DUST),
        PartSetup("climate", "sht40", "i2c", _CLIMATE),
        PartSetup("carbon", "scd41", "i2c", _CARBON),
    ),
    relay="fan-relay",
    extractor="fan",
    exhaust=200.0,
    extraction={"when_blind": "on", "run_on": "10 min"},
    alarms=example()["alarms"],
)
