"""A store with two known days, Wednesday and Thursday, and what a report must make of them."""

from pathlib import Path

from aired import HOUR, MIDNIGHT, MINUTE
from ventwright.events import Readings, Record
from ventwright.settings.load import load
from ventwright.settings.model import Settings
from ventwright.storage.writer import Writer

WEDNESDAY, THURSDAY, FRIDAY = MIDNIGHT - 24 * HOUR, MIDNIGHT, MIDNIGHT + 24 * HOUR
EVERY = 6000
PRINT = (THURSDAY + 9 * HOUR, THURSDAY + 12 * HOUR)
GAP = (WEDNESDAY + 13 * HOUR, WEDNESDAY + 15 * HOUR)

CONFIGURATION = """
[room]
name = "class room <i>"
volume = 189
[store]
folder = "{folder}"
[parts.bench]
model = "pms5003"
port = "/nowhere/bench"
quantities = ["pm2_5"]
[relays.board]
model = "relay-a0"
port = "/nowhere/board"
[extractors.fan]
relay = "board"
when_blind = "on"
[alarms.print]
channel = "bench.pm2_5"
setpoint = 20
deadband = 5
[people.pupils]
hours = ["mon-fri 08:00-13:00"]
age = 12
activity = "sedentary"
"""


def level(t: int) -> int | None:
    """Give the steps (0.1 µg/m³) at a time: 4 µg/m³, and 100 while it prints."""
    if GAP[0] < t <= GAP[1]:
        return None
    return 1000 if PRINT[0] < t <= PRINT[1] else 40


def body(change: str, state: str, peak: float) -> dict[str, object]:
    told = {"change": change, "state": state, "priority": "medium", "channel": "bench.pm2_5"}
    return {**told, "unit": "µg/m³", "peak": peak}


def fill(folder: Path) -> Settings:
    """Make the store and read the configuration that goes with it."""
    store = Writer(folder, "boot-1", WEDNESDAY)
    store.settle(WEDNESDAY)
    store.part("bench", "pms5003", ("pm2_5",))
    for n, t in enumerate(range(WEDNESDAY + EVERY, FRIDAY + 1, EVERY)):
        if (steps := level(t)) is not None:
            store.add(Readings(t - WEDNESDAY, "bench", (steps,), b"\0"))
        if n % 2000 == 1999:
            store.commit()
    begin, end = PRINT[0] - WEDNESDAY + MINUTE, PRINT[1] - WEDNESDAY + MINUTE
    for record in (
        Record(begin, "alarm", "print", body("raised", "unacknowledged", 30.0)),
        Record(begin, "extractor", "fan", {"from": "standby", "to": "extracting", "on": True}),
        Record(begin + HOUR, "alarm", "print", body("acknowledged", "acknowledged", 100.0)),
        Record(end, "alarm", "print", body("cleared", "normal", 100.0)),
        Record(end + HOUR, "extractor", "fan", {"from": "run-on", "to": "standby", "on": False}),
        Record(GAP[0] - WEDNESDAY, "part", "bench", {"change": "lost", "why": "no frame came"}),
        Record(GAP[1] - WEDNESDAY, "part", "bench", {"change": "back", "why": ""}),
    ):
        store.add(record)
    store.commit()
    store.close()
    (folder / "ventwright.toml").write_text(CONFIGURATION.format(folder=folder))
    return load(folder / "ventwright.toml", {})
