"""Two groups of repeats: Welch's test, the paired test, and the interval of the difference.

Values are on the scale of the comparison, logarithms for ratios. Numbers given as fractions are
taken exactly, so that constant leading digits cost nothing.
"""

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from ventwright.contrasts.power import welch_df
from ventwright.standards.distributions import t_quantile, t_tail

Value = float | Fraction


class Test(NamedTuple):
    """A difference, its standard error and what a t test makes of it."""

    difference: float
    error: float
    t: float | None
    """None where nothing can be tested: one repeat, or no spread at all."""
    df: float | None
    p: float | None

    def interval(self, confidence: float = 0.95) -> tuple[float, float] | None:
        """Give the ends of the interval of the difference, or None."""
        if self.df is None:
            return None
        half = t_quantile(confidence, self.df) * self.error
        return self.difference - half, self.difference + half


def centred(groups: Sequence[Sequence[Value]]) -> tuple[float, list[list[float]]]:
    """Take the first value from all, exactly; returns it and what is left of each."""
    first = Fraction(groups[0][0])
    return float(first), [[float(Fraction(v) - first) for v in group] for group in groups]


def mean(values: Sequence[float]) -> float:
    """Give the arithmetic mean."""
    return math.fsum(values) / len(values)


def squares(values: Sequence[float]) -> float:
    """Give the sum of squared deviations from the mean."""
    middle = mean(values)
    return math.fsum((value - middle) ** 2 for value in values)


def variance(values: Sequence[float]) -> float:
    """Give the sample variance of two values or more."""
    return squares(values) / (len(values) - 1)


def _test(difference: float, error: float, df: float) -> Test:
    if not error:
        return Test(difference, error, None, None, None)
    t = difference / error
    return Test(difference, error, t, df, t_tail(t, df))


def welch(one: Sequence[Value], other: Sequence[Value]) -> Test:
    """Compare two means, one minus other, without taking their spreads for equal (Welch 1947)."""
    _, (a, b) = centred([one, other])
    difference, n, m = mean(a) - mean(b), len(a), len(b)
    if n < 2 or m < 2:
        return Test(difference, math.nan, None, None, None)
    v, w = variance(a), variance(b)
    df = welch_df(v, w, n, m) if v or w else 0.0
    return _test(difference, math.sqrt(v / n + w / m), df)


def pooled(one: Sequence[Value], other: Sequence[Value]) -> Test:
    """Compare two means, taking their spreads for equal: the classic two-sample test."""
    _, (a, b) = centred([one, other])
    difference, df = mean(a) - mean(b), len(a) + len(b) - 2
    if not df:
        return Test(difference, math.nan, None, None, None)
    spread = (squares(a) + squares(b)) / df
    return _test(difference, math.sqrt(spread * (1 / len(a) + 1 / len(b))), df)


def paired(one: Sequence[Value], other: Sequence[Value]) -> Test:
    """Compare repeats that belong together in pairs; raises ValueError if they do not."""
    pairs = list(zip(one, other, strict=True))
    apart = [float(Fraction(a) - Fraction(b)) for a, b in pairs]
    if len(apart) < 2:
        return Test(mean(apart), math.nan, None, None, None)
    error = math.sqrt(variance(apart) / len(apart))
    return _test(mean(apart), error, len(apart) - 1)
