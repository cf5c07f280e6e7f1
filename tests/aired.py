"""A store with known air, and the configuration that goes with it."""

from collections.abc import Callable
from pathlib import Path

from ventwright.events import Readings
from ventwright.storage.writer import Writer

MIDNIGHT = 1_790_208_000_000  # 2026-09-24T00:00Z
SECOND, MINUTE, HOUR = 1000, 60_000, 3_600_000

CONFIGURATION = """
[room]
name = "workshop"
volume = 40
[store]
folder = "{folder}"
[parts.bench]
model = "pms5003"
port = "/nowhere/bench"
quantities = ["pm2_5", "pm10"]
[parts.gas]
model = "ze07-co"
port = "/nowhere/gas"
"""

Air = Callable[[int], tuple[tuple[int | None, ...], bytes] | None]
"""Steps and marks at a time (Unix ms)."""


def configure(folder: Path, text: str = CONFIGURATION) -> Path:
    file = folder / "ventwright.toml"
    file.write_text(text.format(folder=folder))
    return file


def fill(
    folder: Path,
    air: dict[str, Air],
    start: int,
    end: int,
    every: int = 3 * SECOND,
    boot: str = "boot-1",
    settled: bool = True,
) -> None:
    """Store what each part of CONFIGURATION shows from after `start` to `end` (Unix ms)."""
    store = Writer(folder, boot, start)
    store.part("bench", "pms5003", ("pm2_5", "pm10"))
    store.part("gas", "ze07-co", ("co",))
    store.part("gas2", "ze07-co", ("co",))
    if settled:
        store.settle(start)
    for n, t in enumerate(range(start + every, end + 1, every)):
        for part, shown in air.items():
            if (sample := shown(t)) is not None:
                store.add(Readings(t - start, part, *sample))
        if n % 400 == 399:
            store.commit()
    store.commit()
    store.close()


def steady(*steps: int | None) -> Air:
    return lambda _: (steps, bytes(len(steps)))
