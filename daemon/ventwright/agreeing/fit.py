"""Straight lines through pairs: y = offset + slope x, with what is known of their errors.

Sums are of distances from the means and rounded once (math.fsum), so that nothing is lost where
the values are large and their differences small. Checked against NIST StRD, set Norris.
"""

from collections.abc import Sequence
from math import fsum, sqrt
from typing import NamedTuple

Values = Sequence[float]

_GROUPS = 20


class Line(NamedTuple):
    """A line, in the unit of the values."""

    offset: float
    slope: float

    def at(self, x: float) -> float:
        """Give y at x."""
        return self.offset + self.slope * x


class Fit(NamedTuple):
    """A line with the standard errors of its offset and slope, and how far pairs lie from it."""

    line: Line
    offset_error: float
    slope_error: float
    deviation: float
    """Residual standard deviation of y, n - 2 degrees of freedom."""
    others: tuple[Line, ...] = ()
    """The lines without one stretch of the pairs each, where the errors are from those."""

    def error_at(self, x: float) -> float:
        """Give the standard error of y at x; from `others`, which must be there."""
        return _spread([line.at(x) for line in self.others])


class Moments(NamedTuple):
    """Means, and sums of squares and products of the distances from them."""

    mean_x: float
    mean_y: float
    xx: float
    yy: float
    xy: float

    @property
    def correlation(self) -> float:
        """The correlation of x and y, -1..1; 0 if one of them never changes."""
        return self.xy / sqrt(self.xx * self.yy) if self.xx and self.yy else 0.0


def moments(xs: Values, ys: Values) -> Moments:
    """Sum up pairs; there must be one at least."""
    mean_x, mean_y = fsum(xs) / len(xs), fsum(ys) / len(ys)
    dx, dy = [x - mean_x for x in xs], [y - mean_y for y in ys]
    pairs = list(zip(dx, dy, strict=True))
    products = (fsum(a * a for a in dx), fsum(b * b for b in dy), fsum(a * b for a, b in pairs))
    return Moments(mean_x, mean_y, *products)


def _through_means(found: Moments, slope: float) -> Line:
    return Line(found.mean_y - slope * found.mean_x, slope)


def _deviation(line: Line, xs: Values, ys: Values) -> float:
    rest = fsum((y - line.at(x)) ** 2 for x, y in zip(xs, ys, strict=True))
    return sqrt(rest / (len(xs) - 2))


def least_squares(xs: Values, ys: Values) -> Fit:
    """Fit by ordinary least squares: all error is in y, and every pair's is its own.

    Three pairs and two different x at least, else ValueError. If x errs too, the slope comes out
    too small. Source: textbook formulas; NIST StRD, Norris, for the digits.
    """
    found = moments(xs, ys) if len(xs) > 2 else None
    if found is None or not found.xx:
        raise ValueError("three pairs with different x are needed for a line")
    line = _through_means(found, found.xy / found.xx)
    deviation = _deviation(line, xs, ys)
    slope_error = deviation / sqrt(found.xx)
    offset_error = deviation * sqrt(1 / len(xs) + found.mean_x**2 / found.xx)
    return Fit(line, offset_error, slope_error, deviation)


def both_err(xs: Values, ys: Values, ratio: float = 1.0) -> Line:
    """Fit a line where x and y both err; `ratio` is the error variance of y over that of x.

    1 suits two parts of one kind. Raises ValueError where x and y have nothing in common.
    Source: Deming regression, textbook formula; with a ratio of 1 the line is the principal axis.
    """
    found = moments(xs, ys)
    if not found.xy:
        raise ValueError("x and y have nothing in common")
    apart = found.yy - ratio * found.xx
    slope = (apart + sqrt(apart**2 + 4 * ratio * found.xy**2)) / (2 * found.xy)
    return _through_means(found, slope)


def both_err_fit(xs: Values, ys: Values, ratio: float = 1.0) -> Fit:
    """Fit as `both_err`, with standard errors that allow for neighbours that resemble each other.

    Forty pairs at least, in the order of time. Source: jackknife that leaves out one of twenty
    stretches at a time.
    """
    line = both_err(xs, ys, ratio)
    others = tuple(both_err(*_without(xs, ys, n), ratio) for n in range(_GROUPS))
    offset_error = _spread([one.offset for one in others])
    slope_error = _spread([one.slope for one in others])
    return Fit(line, offset_error, slope_error, _deviation(line, xs, ys), others)


def _without(xs: Values, ys: Values, group: int) -> tuple[Values, Values]:
    first, last = len(xs) * group // _GROUPS, len(xs) * (group + 1) // _GROUPS
    return [*xs[:first], *xs[last:]], [*ys[:first], *ys[last:]]


def _spread(values: Values) -> float:
    """Give the standard error that values with one stretch left out each tell."""
    mean = fsum(values) / len(values)
    return sqrt((len(values) - 1) / len(values) * fsum((v - mean) ** 2 for v in values))
