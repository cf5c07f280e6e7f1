"""A store with four test prints of two materials: known emission in a well-mixed room."""

import random
from math import exp
from pathlib import Path

from aired import HOUR, MIDNIGHT, MINUTE
from daemon.reporting.weeks import CONFIGURATION
from ventwright.events import Readings, Record
from ventwright.storage.writer import Writer

VOLUME, LOSS, BACKGROUND = 189.0, 1.5, 4.0
EMISSION = {"pla-1": 8000.0, "pla-2": 9000.0, "abs-1": 40_000.0, "abs-2": 44_000.0}
"""µg/h while it prints."""
GRAMS = 10
_PHASES = {"background": 0, "print": 20, "decay": 50, "end": 110}
_APART = 3 * HOUR
_EVERY = 6000


def level(emission: float, t: int) -> float:
    """Give the level (µg/m³) at ms after the background began."""
    steady = emission / VOLUME / LOSS
    printing = min(max(0, t - 20 * MINUTE), 30 * MINUTE) / HOUR
    after = max(0, t - 50 * MINUTE) / HOUR
    return BACKGROUND + steady * (1 - exp(-LOSS * printing)) * exp(-LOSS * after)


def fill(folder: Path) -> Path:
    """Make the store; gives the configuration file."""
    dice = random.Random(4)
    store = Writer(folder, "boot-1", MIDNIGHT)
    store.settle(MIDNIGHT)
    store.part("bench", "pms5003", ("pm2_5",))
    for number, (name, emission) in enumerate(EMISSION.items()):
        begin = (number + 1) * _APART
        for t in range(begin, begin + 111 * MINUTE, _EVERY):
            value = level(emission, t - begin) * (1 + dice.gauss(0, 0.01)) + dice.gauss(0, 0.3)
            store.add(Readings(t, "bench", (max(0, round(10 * value)),), b"\0"))
        for phase, minute in _PHASES.items():
            labels = {"material": name.partition("-")[0].upper(), "grams": str(GRAMS)}
            body = {"phase": phase, "labels": labels, "channel": "bench.pm2_5", "who": "ada"}
            store.add(Record(begin + minute * MINUTE, "mark", name, body))
        store.commit()
    store.close()
    config = folder / "ventwright.toml"
    config.write_text(CONFIGURATION.format(folder=folder), encoding="utf-8")
    return config
