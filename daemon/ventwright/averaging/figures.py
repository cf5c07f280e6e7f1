"""Makes the averages of a channel's day: rolling, of the last hours, and the worst of the day.

A mean is known only where readings cover three quarters of its time.
"""

from collections.abc import Iterator
from typing import NamedTuple

from ventwright.averaging.gather import Stretch
from ventwright.means.minutes import Sums
from ventwright.standards.nowcast import HOURS
from ventwright.standards.shift import SHIFT_HOURS, shift_average

COVERAGE = 0.75
READY_MADE = (1, 5, 15, 60, 480, 1440)
"""Averaging times that are always told, minutes."""


class Mean(NamedTuple):
    """A mean in the channel's unit (None where too little is known) and its coverage, 0..1."""

    value: float | None
    coverage: float
    ago: int = 0
    """How many minutes before the end its time ends."""


def _value(stretch: Stretch, sums: Sums) -> float:
    return sums.area / sums.cover / stretch.quantity.per_unit


def _mean(stretch: Stretch, first: int, last: int) -> Mean:
    sums = stretch.minutes.sums(first, last)
    known = sums.cover and sums.coverage >= COVERAGE
    return Mean(_value(stretch, sums) if known else None, sums.coverage, first)


def rolling(stretch: Stretch, minutes: int) -> Mean:
    """Give the mean over the last `minutes`, up to 24 h of them."""
    return _mean(stretch, 0, minutes)


def hours(stretch: Stretch) -> list[float | None]:
    """Give the means of the last twelve hours, newest first, counted back from the end."""
    return [_mean(stretch, 60 * n, 60 * n + 60).value for n in range(HOURS)]


def worst(stretch: Stretch, minutes: int) -> Mean:
    """Give the highest mean over `minutes` that lie wholly in today, or its best coverage."""
    places = range(stretch.today - minutes + 1)
    if not places:
        share = stretch.minutes.sums(0, stretch.today).cover / 60_000 / minutes
        return Mean(None, share)
    return _highest(_mean(stretch, n, n + minutes) for n in places)


def worst_shift(stretch: Stretch, hours_long: int = SHIFT_HOURS) -> Mean:
    """Give the time-weighted average of the worst shift of today, from midnight on.

    A day that is younger than the shift is one exposure of its own length, divided by the whole
    shift. Gaps are taken to be like the rest. The NIOSH limits over up to 10 hours are treated
    alike, with 10 in place of 8 (own reading).
    """
    length = min(60 * hours_long, stretch.today)
    if not length:
        return Mean(None, 0.0)
    found = worst(stretch, length)
    if found.value is None:
        return found
    average = shift_average([(found.value, length / 60)]) * SHIFT_HOURS / hours_long
    return found._replace(value=average)


def _highest(means: Iterator[Mean]) -> Mean:
    return max(means, key=lambda mean: (mean.value is not None, mean.value or mean.coverage))
