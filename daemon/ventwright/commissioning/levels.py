"""Gives the levels of channels over a time, from the store, as means over short blocks.

Blocks spare the fit most of the noise and nothing of the rate: the mean of an exponential over
equal blocks falls at the same rate. Times are Unix ms. Knows no phase and no fit.
"""

from collections.abc import Iterable, Sequence
from math import fsum
from pathlib import Path

from ventwright.averaging.gather import good, pour
from ventwright.settings.model import MINUTE, Settings
from ventwright.storage.blocks import Column
from ventwright.storage.reader import Reader
from ventwright.storage.summaries import summaries
from ventwright_drivers.quantities import QUANTITIES

BLOCK_MS = 20_000
_COVERAGE = 0.5

Levels = list[tuple[int, float]]
"""The middle of a block, Unix ms, and its mean in the channel's unit."""


class _Blocks:
    """The readings of one channel, by the block that they fall in."""

    def __init__(self, channel: str, begins: int, ends: int) -> None:
        self._per_unit = QUANTITIES[channel.partition(".")[2]].per_unit
        self._begins, self._ends = begins, ends
        self._found: dict[int, list[int]] = {}

    def take(self, times: Sequence[int], column: Column, sure: bool) -> None:  # noqa: ARG002
        for t, step in good(times, column):
            if self._begins <= t < self._ends:
                self._found.setdefault((t - self._begins) // BLOCK_MS, []).append(step)

    def levels(self) -> Levels:
        return [
            (
                self._begins + n * BLOCK_MS + BLOCK_MS // 2,
                fsum(steps) / len(steps) / self._per_unit,
            )
            for n, steps in sorted(self._found.items())
        ]


def stored(
    folder: Path, settings: Settings, channels: Iterable[str], begins: int, ends: int
) -> dict[str, Levels]:
    """Read the levels of channels between two times; raises sqlite3.Error."""
    found = {channel: _Blocks(channel, begins, ends) for channel in channels}
    reader = Reader(folder)
    try:
        pour(reader, settings, found, (begins, ends))
    finally:
        reader.close()
    return {channel: blocks.levels() for channel, blocks in found.items()}


def remembered(
    folder: Path, settings: Settings, channels: Iterable[str], begins: int, ends: int
) -> dict[str, Levels]:
    """Read the levels of a time long past: minutes, where the readings are no longer there.

    Raises sqlite3.Error.
    """
    found = stored(folder, settings, channels, begins, ends)
    return {c: them or _minutes(folder, c, begins, ends) for c, them in found.items()}


def _minutes(folder: Path, channel: str, begins: int, ends: int) -> Levels:
    figures = summaries(folder, channel, "minute", begins, ends)
    return [(one.start + MINUTE // 2, one.mean) for one in figures if one.coverage >= _COVERAGE]
