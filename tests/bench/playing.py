"""Replay: from stored blocks to decisions, as fast as it goes; and whether memory stays flat."""

import time
import tracemalloc
from pathlib import Path

from bench.load import PARTS, READINGS_A_SECOND, air, settings, walk
from ventwright.events import Readings
from ventwright.replaying.blocks import Unpacker
from ventwright.replaying.kinds import kinds_of
from ventwright.replaying.outcome import Outcome, replay_store
from ventwright.replaying.player import Listener, Player
from ventwright.replaying.stored import StoredLog
from ventwright.settings.model import DAY, HOUR, Settings
from ventwright.storage.writer import Writer

FULL_MS = DAY + HOUR
"""By then every window of the reference load is full."""

OFFSET = 1_790_000_000_000  # the labels begin in September 2026


def write_store(folder: Path, seconds: int, boot: str = "bench", first: int = 1000) -> None:
    """Store some seconds of the reference load, of a boot, from a time (ms) of it on."""
    writer, noise = Writer(folder, boot, OFFSET), walk(2)
    writer.settle(OFFSET)
    for name, kept in PARTS.items():
        writer.part(name, "pms5003", kept)
    for second in range(seconds):
        for place, (name, kept) in enumerate(PARTS.items()):
            steps = tuple(10 * v for v in air(noise)[-len(kept) :])
            t = first + second * 1000 + place * 333
            writer.add(Readings(t, name, steps, bytes(len(kept))))
        if second % 50 == 49:
            writer.commit()
    writer.commit()
    writer.close()


def measure(folder: Path, seconds: int) -> tuple[float, float]:
    """Replay a store; readings a second of CPU, and growth of memory with the log's length, MB."""
    write_store(folder, seconds)
    return rate(folder, seconds), growth(folder, seconds)


def rate(folder: Path, seconds: int) -> float:
    """Replay from the stored blocks to the decisions and figures; readings a second of CPU."""
    chosen = rules(folder)
    began = time.process_time()
    outcome = replay_store(folder, chosen, kinds_of(chosen))
    spent = time.process_time() - began
    assert outcome.counts.total == seconds * READINGS_A_SECOND
    return outcome.counts.total / spent


def rules(folder: Path) -> Settings:
    """The reference load."""
    return settings(folder, dict.fromkeys(PARTS, "/dev/null"))


class Weighing(Listener):
    """Weighs what Python holds once a minute of the log."""

    def __init__(self) -> None:
        self.held: list[tuple[int, int]] = []

    def minute(self, t: int) -> None:
        self.held.append((t, tracemalloc.get_traced_memory()[0]))


def growth(folder: Path, seconds: int) -> float:
    """Replay with memory traced; growth from when all windows are full (or the half), MB."""
    chosen, scales, log = rules(folder), Weighing(), StoredLog(folder)
    kept = {name: entry.quantities for name, entry in chosen.parts.items()}
    player = Player(chosen, kinds_of(chosen), (*Outcome("", chosen).listeners, scales))
    tracemalloc.start()
    player.play(log.items(Unpacker(kept)))
    tracemalloc.stop()
    log.close()
    full = FULL_MS if seconds * 1000 > FULL_MS + HOUR else seconds * 500
    later = [held for t, held in scales.held if t > full]
    half = len(later) // 2
    return (max(later[half:]) - max(later[:half])) / 1e6
