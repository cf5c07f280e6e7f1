"""Exact sums of one channel minute by minute, counted back from an end: any mean from them.

A reading speaks for the time that the rolling means give it (history.py).
"""

from array import array
from itertools import accumulate
from typing import NamedTuple

from ventwright.means.history import History

MINUTE_MS = 60_000


class Sums(NamedTuple):
    """The readings of some minutes: step·ms, covered ms, and how many minutes."""

    area: int
    cover: int
    minutes: int

    @property
    def coverage(self) -> float:
        """The share of the time that readings cover, 0..1."""
        return self.cover / (self.minutes * MINUTE_MS) if self.minutes else 0.0


class Minutes:
    """The last `count` minutes before `end` (ms); minute 0 ends at `end`."""

    def __init__(self, end: int, count: int, period: int, reach: int) -> None:
        """Start empty; `period` and `reach` of the part, ms."""
        self._history = History(period, reach)
        self._areas = array("q", bytes(8 * count))
        self._covers = array("q", bytes(8 * count))
        self._sums: tuple[list[int], list[int]] | None = None
        self.end = end
        self.count = count

    def add(self, t: int, step: int) -> None:
        """Take a good reading of whole steps at `t` ms; one not later than the last is left out."""
        history = self._history
        if history.last is not None and t <= history.last:
            return
        before = history.cover
        history.add(t, step)
        self._spread(t - (history.cover - before), t, step)
        self._sums = None

    def _spread(self, start: int, t: int, step: int) -> None:
        while t > start:
            place = (self.end - t) // MINUTE_MS
            low = max(start, self.end - (place + 1) * MINUTE_MS)
            if 0 <= place < self.count:
                self._areas[place] += step * (t - low)
                self._covers[place] += t - low
            t = low

    def sums(self, first: int, last: int) -> Sums:
        """Sum the minutes from number `first` up to, not with, number `last` (0 is the newest)."""
        if self._sums is None:
            self._sums = (_running(self._areas), _running(self._covers))
        areas, covers = self._sums
        return Sums(areas[last] - areas[first], covers[last] - covers[first], last - first)


def _running(values: "array[int]") -> list[int]:
    return list(accumulate(values, initial=0))
