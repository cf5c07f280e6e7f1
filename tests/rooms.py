"""Small rooms for tests: settings in plain Python, cores over them, and samples."""

from pathlib import Path
from typing import Any

from ventwright.events import Action, Measured, Record, Switch
from ventwright.keeper.core import Core
from ventwright.quality.judge import PartKind
from ventwright.settings.model import (
    Alarm,
    Extractor,
    PartEntry,
    RelayEntry,
    Room,
    Settings,
    Storage,
)
from ventwright_drivers.part import Sample

QUANTITIES = ("pm1", "pm2_5", "pm10")
KIND = PartKind("pms5003", QUANTITIES, 1000, 10_000, 5000, optical=True)
PERIOD = KIND.period

QUICK = {"over": 10_000, "on_delay": 3000, "off_delay": 5000, "compare": "mean"}


def alarm(channel: str = "bench.pm2_5", **changes: Any) -> Alarm:
    return Alarm(**{"channel": channel, "setpoint": 10, "deadband": 3, **QUICK, **changes})


def extractor(**changes: Any) -> Extractor:
    return Extractor(**{"relay": "board", "when_blind": "on", **changes})


def relay(safe: Any = "off") -> RelayEntry:
    return RelayEntry("relay-modbus", "", None, safe, 10_000)


def room(
    folder: Path = Path("/nowhere"), parts: tuple[str, ...] = ("bench",), **changes: Any
) -> Settings:
    entries = {name: PartEntry("pms5003", "", None, QUANTITIES) for name in parts}
    plain = {
        "relays": {"board": relay()},
        "extractors": {"hood": extractor()},
        "alarms": {"print": alarm()},
    }
    return Settings(Room("r", 40), Storage(folder), entries, **{**plain, **changes})


def core(settings: Settings | None = None, t: int = 0, kind: PartKind = KIND) -> Core:
    settings = settings or room()
    return Core(settings, dict.fromkeys(settings.parts, kind), t)


def sample(value: float | None, fault: str = "") -> Sample:
    return Sample((value,) * len(QUANTITIES), fault)


def measured(t: int, value: float | None, part: str = "bench", fault: str = "") -> Measured:
    return Measured(t, part, sample(value, fault))


def records(actions: list[Action], kind: str = "") -> list[Record]:
    return [a for a in actions if isinstance(a, Record) and (not kind or a.kind == kind)]


def changes(actions: list[Action], kind: str) -> list[str]:
    return [record.body["change"] for record in records(actions, kind)]


def switches(actions: list[Action]) -> list[Switch]:
    return [a for a in actions if isinstance(a, Switch)]
