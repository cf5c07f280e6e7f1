"""When the air will be clear: how long a decay takes to a level, with the doubt in what it needs.

Knows no channel, no alarm and no clock; hours and the channel's unit.
"""

import math
from collections.abc import Iterator
from typing import NamedTuple

from ventwright.source.bank import Bank
from ventwright.source.tracking import Filter

_SIDES = ((-math.sqrt(3), 1 / 6), (0.0, 2 / 3), (math.sqrt(3), 1 / 6))
"""Three points and weights that have mean, variance and third moment of a normal distribution."""
_NINETY = 1.645
_LONGEST_H = 24.0
_ENOUGH = 0.7
_GRAIN_H = 12 / 3600
"""Standard deviation of what lag and steps add, h: about half a step."""


class Clear(NamedTuple):
    """How long until the air is clear, h: most likely, and an interval for nine cases of ten."""

    about: float
    first: float
    last: float


def hours_to(level: float, clear: float, rate: float, still: float, over: float) -> float | None:
    """Tell how many hours a mean over `over` hours takes to fall to `clear`; None if it never does.

    From `level` now, all above the baseline, at `rate` (1/h) towards still/rate:
    X(t) = Xs + (X0 - Xs)·e^(-k·t), averaged over the window behind t.
    """
    rest = still / rate
    lag = rate * over
    spread = math.expm1(lag) / lag if lag > 1e-9 else 1.0
    if clear <= rest:
        return None
    if level <= rest:
        return 0.0
    return max(0.0, math.log((level - rest) * spread / (clear - rest)) / rate)


def _cases(bank: Bank, clear: float, over: float) -> Iterator[tuple[float, float | None]]:
    """Give weights and hours for every rate, level and inflow of clean air that may be."""
    total = sum(bank.weights)
    for track, weight in zip(bank.tracks, bank.weights, strict=True):
        one: Filter = track.filters[0]
        level, sigma = one[0], math.sqrt(max(one[4], 0.0))
        for side, share in _SIDES:
            hours = hours_to(level, clear, track.rate, one[1] + side * sigma, over)
            yield weight / total * share, hours


def recovery(bank: Bank, clear: float, over: float, noise: float) -> Clear | None:
    """Tell when a mean over `over` hours will be below `clear`, if nothing emits from now on.

    `noise` is the standard deviation of that mean by the sensor's noise. None where it may well
    not happen at all.
    """
    cases = [(weight, hours) for weight, hours in _cases(bank, clear, over) if hours is not None]
    known = sum(weight for weight, _ in cases)
    if known < _ENOUGH:
        return None
    middle = sum(weight * hours for weight, hours in cases) / known
    variance = sum(weight * (hours - middle) ** 2 for weight, hours in cases) / known
    rate = bank.moments(bank.assumed.rates)[0]
    crossing = noise / max(1e-9, rate * clear)
    error = bank.assumed.error * middle
    spread = math.sqrt(variance + crossing**2 + error**2 + _GRAIN_H**2)
    share = math.sqrt(math.log1p((spread / max(middle, 1e-3)) ** 2))
    most = max(middle, 1e-3) * math.exp(-share * share / 2)
    first, last = most * math.exp(-_NINETY * share), most * math.exp(_NINETY * share)
    return Clear(min(most, _LONGEST_H), min(first, _LONGEST_H), min(last, _LONGEST_H))
