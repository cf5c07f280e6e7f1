"""Stores with known content, and what a database must hold after all of it was pushed."""

import random
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

from receivers import split_line
from ventwright.events import Readings, Record
from ventwright.quality.marks import Quality
from ventwright.settings.model import Database, PartEntry, Phone, Room, Settings, Storage
from ventwright.storage.reader import Reader
from ventwright.storage.writer import Writer
from ventwright_drivers.quantities import QUANTITIES

OFFSET = 1_790_000_000_000  # September 2026
QUANTITIES_OF = {"bench": ("pm1", "pm2_5", "pm10"), "door": ("co2", "temperature", "humidity")}
MODELS = {"bench": "pms5003", "door": "scd41"}

Point = tuple[str, str, str, int]


_owned: list[Any] = []


def owned(thing: Any) -> Any:
    """Have something closed after the test; used again it opens again."""
    _owned.append(thing)
    return thing


def close_owned() -> None:
    while _owned:
        _owned.pop().close()


def writer(
    folder: Path, boot: str = "boot-1", offset: int = OFFSET, settled: bool = True
) -> Writer:
    made: Writer = owned(Writer(folder, boot, offset))
    if settled:
        made.settle(offset)
    for part, quantities in QUANTITIES_OF.items():
        made.part(part, MODELS[part], quantities)
    return made


def fill(store: Writer, samples: int, start: int = 0, seed: int = 1, block: int = 60) -> None:
    """Add samples of two parts, one a second each from `start` ms, with every kind of gap."""
    dice = random.Random(seed)
    for n in range(samples):
        for part, quantities in QUANTITIES_OF.items():
            kind = dice.random()
            marks = bytes(
                dice.choice([0, 2, 5]) if kind > 0.9 else int(Quality.GOOD) for _ in quantities
            )
            steps = tuple(
                None if kind < 0.02 or dice.random() < 0.05 else dice.randrange(1, 5000)
                for _ in quantities
            )
            store.add(Readings(start + 1000 * n, part, steps, marks))
        if n % block == block - 1:
            store.commit()
    store.commit()


def record(store: Writer, kind: str, subject: str, t: int, **body: Any) -> None:
    store.add(Record(t, kind, subject, body))
    store.commit()


def points_of(folder: Path, offsets: dict[int, int] | None = None) -> dict[Point, float]:
    """Compute from the store what the database must hold, by other means than the courier."""
    reader = Reader(folder)
    boots = reader.boots()
    points: dict[Point, float] = {}
    for stored in reader.all_blocks():
        block = stored.open()
        offset = (offsets or {}).get(stored.boot, boots[stored.boot].offset)
        for name, column in zip(stored.part.quantities, block.columns, strict=True):
            for t, step, mark in zip(block.times, column.steps, column.marks, strict=True):
                if step is not None:
                    value = float(Fraction(step, QUANTITIES[name].per_unit))
                    quality = Quality(mark).name.lower()
                    points[stored.part.name, quality, name, t + offset] = value
    reader.close()
    return points


def samples_of(folder: Path) -> int:
    reader = Reader(folder)
    total = sum(block.samples for block in reader.all_blocks())
    reader.close()
    return total


def points_in(lines: Iterable[str]) -> dict[Point, float]:
    """Read the lines of readings back as points."""
    points: dict[Point, float] = {}
    for line in lines:
        series, fields, t = split_line(line)
        tags = dict(tag.split("=", 1) for tag in series.split(",")[1:])
        for name, value in fields.items() if "part" in tags else ():
            points[tags["part"], tags["quality"], name, int(t)] = float(value)
    return points


def settings(folder: Path, **given: Any) -> Settings:
    parts = {
        name: PartEntry(MODELS[name], "none:None", None, quantities)
        for name, quantities in QUANTITIES_OF.items()
    }
    return Settings(Room("Workshop", 40.0), Storage(folder), parts, **given)


def database(url: str, **given: Any) -> Database:
    return Database(url, "air", **{"push_every": 1000, **given})


def phone(folder: Path, *addresses: str, **given: Any) -> Phone:
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "services"
    file.write_text("".join(f"{address}\n" for address in addresses))
    return Phone(file, **given)
