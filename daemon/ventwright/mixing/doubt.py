"""How far a fitted parameter may be off when residuals resemble their neighbours.

A sensor's noise is not independent from one reading to the next: n points then tell less than n.
The textbook's standard error is widened by the root of the factor that the correlation of the
residuals implies, and the degrees of freedom shrink alike. Knows fits, no room.
Measured: with 135 points, 95 % intervals hold 93 to 97 % up to a correlation of 0.6 between
neighbours, and 80 % at 0.9, where the noise is as slow as the curve itself.
Source: variance of a mean of correlated values (textbook); the sum is taken as Geyer's initial
positive sequence (from memory), or as a first-order process implies, whichever is more.
"""

from collections.abc import Sequence
from math import fsum, inf, sqrt
from typing import NamedTuple

from ventwright.mixing.curve import Fit
from ventwright.standards.distributions import t_quantile

_CLOSEST = 0.98
_FEWEST = 20  # below, a correlation is no more than a guess
_MOST = 1000  # residuals whose correlations are summed; more are taken in groups for that


class Doubt(NamedTuple):
    """What the correlation of residuals does to errors."""

    neighbours: float
    """Correlation of a residual with the next one, -1..1, put right for the few points."""
    widened: float
    """By what the textbook's standard errors are multiplied, at least 1."""
    freedom: float
    """Degrees of freedom that are left."""

    def half_width(self, error: float, confidence: float = 0.95) -> float:
        """Give half of the interval that belongs to a textbook's standard error."""
        return t_quantile(confidence, self.freedom) * error * self.widened if error < inf else inf


def doubt(fit: Fit) -> Doubt:
    """Judge the residuals of a fit, in the order of their times."""
    return doubt_of(_weighted_residuals(fit), len(fit.names))


def doubt_of(off: Sequence[float], known: int) -> Doubt:
    """Judge weighted residuals in the order of their times, from a fit of `known` parameters."""
    count = len(off)
    freedom = float(count - known)
    total = fsum(r * r for r in off)
    if count < _FEWEST or not total:
        return Doubt(0.0, 1.0, freedom)
    first = _correlation(off, 1, total)
    neighbours = min(_CLOSEST, (count * first + known) / (count - known))
    if neighbours <= 1 / sqrt(count):  # no more than chance gives
        return Doubt(neighbours, 1.0, freedom)
    factor = max((1 + neighbours) / (1 - neighbours), _positive_sum(off, total))
    told = max(1.0, count / factor - known)
    left = max(1.0, count - known * factor)  # a smooth error is fitted away in part
    return Doubt(neighbours, sqrt(factor * freedom / left), told)


def _weighted_residuals(fit: Fit) -> list[float]:
    rows = sorted(zip(fit.points.times, fit.residuals, fit.points.spreads, strict=True))
    return [residual / spread for _, residual, spread in rows]


def _correlation(off: Sequence[float], lag: int, total: float) -> float:
    return fsum(a * b for a, b in zip(off, off[lag:], strict=False)) / total


def _positive_sum(off: Sequence[float], total: float) -> float:
    """Give 1 + 2 times the sum of the correlations, as far as they stay above nothing."""
    size = len(off) // _MOST
    if size > 1:
        return _positive_sum_of_groups(off, total, size)
    found = 1.0
    for lag in range(1, len(off) // 4, 2):
        pair = _correlation(off, lag, total) + _correlation(off, lag + 1, total)
        if pair <= 0:
            break
        found += 2 * pair
    return found


def _positive_sum_of_groups(off: Sequence[float], total: float, size: int) -> float:
    """Give the same from the sums of groups, which vary as much over a long time as all of it."""
    sums = [fsum(off[n : n + size]) for n in range(0, len(off) - size + 1, size)]
    squares = fsum(s * s for s in sums)
    return _positive_sum(sums, squares) * squares / total
