"""The one-minute means of a channel over any time, and every mean that can be made of them.

It is for exposure and reports. It must not know where the minutes come from, nor any rule.
"""

from array import array
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, compress, count, islice, repeat
from operator import add, ge, gt, mul, sub, truediv
from typing import NamedTuple

from ventwright.averaging.figures import COVERAGE
from ventwright.means.minutes import MINUTE_MS
from ventwright_drivers.quantities import Quantity


class Found(NamedTuple):
    """The highest mean of some length: its value, and the minute (number) at which it ends."""

    value: float
    end: int


class Course:
    """The minutes of one channel from `start` (Unix ms) on, in the channel's unit."""

    def __init__(self, channel: str, quantity: Quantity, start: int, minutes: int) -> None:
        """Begin with so many minutes of which nothing is known."""
        self.channel, self.quantity = channel, quantity
        self.start, self.count = start, minutes
        self._areas, self._covers = _nothing(minutes), _nothing(minutes)
        self._sums: tuple[array[float], array[float]] | None = None

    def put(self, number: int, mean: float, coverage: float) -> None:
        """Set a minute's mean (the channel's unit) and the share of it that readings cover, 0..1.

        What lies outside is left out; a minute that is given twice, as by two boots, is both.
        """
        if 0 <= number < self.count:
            self._areas[number] += mean * coverage
            self._covers[number] += coverage
            self._sums = None

    def put_all(self, start: int, means: Sequence[int], covers: Sequence[int]) -> None:
        """Add minutes from `start` (Unix ms) on: means in hundredths of a step, covered ms."""
        first = (start - self.start) // MINUTE_MS
        low, high = max(0, -first), min(len(means), self.count - first)
        if low >= high:
            return
        place = slice(first + low, first + high)
        scale = 1 / (100 * self.quantity.per_unit * MINUTE_MS)
        areas = map(mul, map(mul, means[low:high], covers[low:high]), repeat(scale))
        shares = map(mul, covers[low:high], repeat(1 / MINUTE_MS))
        self._areas[place] = array("d", map(add, self._areas[place], areas))
        self._covers[place] = array("d", map(add, self._covers[place], shares))
        self._sums = None

    @property
    def _running(self) -> "tuple[array[float], array[float]]":
        if self._sums is None:
            self._sums = _sums(self._areas), _sums(self._covers)
        return self._sums

    @property
    def known(self) -> float:
        """How many minutes readings cover, in all."""
        return self._running[1][-1]

    def time(self, number: int) -> int:
        """Tell when a minute begins, Unix ms."""
        return self.start + number * MINUTE_MS

    def number(self, t: int) -> int:
        """Tell which minute a time (Unix ms) is in, kept within what is here."""
        return min(self.count, max(0, (t - self.start) // MINUTE_MS))

    def sums(self, first: int, last: int) -> tuple[float, float]:
        """Give area (unit x min) and covered minutes from a minute up to, not with, another."""
        areas, covers = self._running
        return areas[last] - areas[first], covers[last] - covers[first]

    def mean(self, first: int, last: int) -> float | None:
        """Give the mean from a minute up to, not with, another; None if too little is known."""
        area, cover = self.sums(first, last)
        return area / cover if cover and cover >= _enough(last - first) else None

    def means(self, minutes: int) -> list[float | None]:
        """Give the means of one stretch of `minutes` after another, from the start."""
        return [self.mean(n, n + minutes) for n in range(0, self.count - minutes + 1, minutes)]

    def above(self, value: float, minutes: int, first: int = 0) -> int:
        """Count the minutes at whose end the mean over `minutes` (from `first` on) is above."""
        return self.windows(minutes, first).above(value)

    def worst(self, minutes: int, first: int = 0, last: int | None = None) -> Found | None:
        """Find the highest known mean over `minutes` that lie wholly between two minutes."""
        return self.windows(minutes, first, last).worst

    def windows(self, minutes: int, first: int = 0, last: int | None = None) -> "Windows":
        """Give every stretch of `minutes` that lies wholly between two minutes."""
        areas, covers = self._running
        end = self.count if last is None else last
        low, high = slice(first, max(first, end - minutes + 1)), slice(first + minutes, end + 1)
        covered = list(map(sub, covers[high], covers[low]))
        enough = list(map(ge, covered, repeat(_enough(minutes))))
        known = compress(map(sub, areas[high], areas[low]), enough)
        return Windows(
            list(map(truediv, known, compress(covered, enough))), enough, first + minutes
        )


class Windows:
    """The means of overlapping stretches of one length, those that are known."""

    def __init__(self, means: list[float], enough: list[bool], first_end: int) -> None:
        """Take the known means, which stretches they are, and where the first stretch ends."""
        self._means, self._enough, self._first_end = means, enough, first_end

    def above(self, value: float) -> int:
        """Count the stretches whose mean is above a value."""
        return sum(map(gt, self._means, repeat(value)))

    @property
    def worst(self) -> Found | None:
        """The highest mean, the first of several; None if none is known."""
        if not self._means:
            return None
        highest = max(self._means)
        ends = compress(count(self._first_end), self._enough)
        return Found(highest, next(islice(ends, self._means.index(highest), None)))


def _enough(minutes: int) -> float:
    """Tell how many covered minutes make a mean known; sums of shares are not exact."""
    return max(COVERAGE * minutes - 1e-6, 1e-9)


def _nothing(minutes: int) -> "array[float]":
    return array("d", bytes(8 * minutes))


def _sums(values: Iterable[float]) -> "array[float]":
    return array("d", accumulate(values, initial=0.0))


def minutes_of(course: Course) -> Iterator[tuple[int, float | None]]:
    """Give every minute's time (Unix ms) and mean."""
    return ((course.time(n), course.mean(n, n + 1)) for n in range(course.count))
