"""Replay: stored readings through the core, as fast as it goes; and whether memory stays flat."""

import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

from bench.load import PARTS, READINGS_A_SECOND, air, settings, walk
from ventwright.events import Measured, Readings, Started
from ventwright.keeper.core import Core
from ventwright.keeper.process import build_part, kind_of
from ventwright.storage.reader import Reader
from ventwright.storage.writer import Writer
from ventwright.wires import machine_wiring
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.part import Sample

OFFSET = 1_790_000_000_000  # the labels begin in September 2026


def write_store(folder: Path, seconds: int) -> None:
    """Store some seconds of the reference load."""
    writer, noise = Writer(folder, "bench", OFFSET), walk(2)
    writer.settle(OFFSET)
    for name, kept in PARTS.items():
        writer.part(name, "pms5003", kept)
    for second in range(seconds):
        for place, (name, kept) in enumerate(PARTS.items()):
            steps = tuple(10 * v for v in air(noise)[-len(kept) :])
            writer.add(Readings(1000 + second * 1000 + place * 333, name, steps, bytes(len(kept))))
        if second % 50 == 49:
            writer.commit()
    writer.commit()
    writer.close()


def new_core(folder: Path) -> Core:
    """A core at the reference load."""
    chosen = settings(folder, dict.fromkeys(PARTS, "/dev/null"))
    wiring = machine_wiring(SystemClock())
    kinds = {name: kind_of(build_part(entry, wiring)) for name, entry in chosen.parts.items()}
    core = Core(chosen, kinds, 0)
    for name in PARTS:
        core.handle(Started(-100_000, name))
    return core


def stored(folder: Path) -> Iterator[Measured]:
    """Play the store's samples in the order of their times, a block of each part at a time."""
    reader = Reader(folder)
    gathered: list[Measured] = []
    for block in reader.all_blocks():
        times, columns = block.open()
        missing = (None,) * (9 - len(columns))
        scaled = [[None if s is None else s / 10 for s in column.steps] for column in columns]
        if block.part.quantities == PARTS["shelf"]:
            scaled, missing = [[None] * len(times), *scaled], missing[1:]
        name = block.part.name
        gathered += [
            Measured(t, name, Sample((*v, *missing))) for t, *v in zip(times, *scaled, strict=True)
        ]
        if block.id % len(PARTS) == 0:
            yield from sorted(gathered)
            gathered = []
    reader.close()


def measure(folder: Path, seconds: int) -> tuple[float, float]:
    """Replay; readings a second, and growth of memory from the half to the end, MB."""
    write_store(folder, seconds)
    core = new_core(folder)
    began = time.process_time()
    for event in stored(folder):
        core.handle(event)
    rate = seconds * READINGS_A_SECOND / (time.process_time() - began)
    return rate, growth(folder)


def growth(folder: Path) -> float:
    """Replay with memory traced; what is held at the end beyond what was at the half, MB."""
    core = new_core(folder)
    for alarm in core.alarms.values():
        alarm.channel.watch(60_000)
    events = list(stored(folder))[:40_000]
    tracemalloc.start()
    held = []
    for place, event in enumerate(events):
        core.handle(event)
        if place in (len(events) // 2, len(events) - 1):
            held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    return (held[1] - held[0]) / 1e6
