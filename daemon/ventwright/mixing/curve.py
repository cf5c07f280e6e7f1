"""Points, and a curve that was fitted to them, with its errors. Knows no room and no fitting."""

from collections.abc import Sequence
from math import fsum, inf, sqrt
from typing import NamedTuple

from ventwright.mixing.linear import Column
from ventwright.mixing.shapes import Shape


class FitError(ValueError):
    """The points give no such curve; a sentence."""


class Points(NamedTuple):
    """Times and values, and how far each value may be off, up to a common factor."""

    times: Sequence[float]
    values: Sequence[float]
    spreads: Sequence[float]

    @property
    def span(self) -> float:
        """The time from the first point to the last."""
        return max(self.times) - min(self.times)


class Fit(NamedTuple):
    """A fitted curve."""

    shape: Shape
    amplitudes: Column
    rates: Column
    background: float
    free: bool
    """Whether the background was fitted."""
    covariance: list[Column]
    """Of amplitudes, rates and the background if it was fitted; scaled to the residuals."""
    rss: float
    """Weighted sum of the squares of the residuals."""
    residuals: Column
    """Value minus curve, not weighted."""
    points: Points

    def at(self, t: float) -> float:
        """Give the curve at a time, background included."""
        return self.background + self.shape.value(t, self.amplitudes, self.rates)

    @property
    def names(self) -> tuple[str, ...]:
        """The parameters, in the order of the covariance."""
        last = ("background",) if self.free else ()
        return (*self.shape.amplitudes, *self.shape.rates, *last)

    @property
    def parameters(self) -> dict[str, float]:
        """The parameters by name."""
        last = [self.background] if self.free else []
        values = (*self.amplitudes, *self.rates, *last)
        return dict(zip(self.names, values, strict=True))

    def error(self, name: str) -> float:
        """Give the standard error of a parameter, errors of the points taken as independent."""
        place = self.names.index(name)
        return sqrt(max(0.0, self.covariance[place][place]))

    @property
    def freedom(self) -> int:
        """Points minus parameters."""
        return len(self.residuals) - len(self.names)

    @property
    def deviation(self) -> float:
        """Residual standard deviation, in the unit of the spreads (of values if those are 1)."""
        return sqrt(self.rss / self.freedom) if self.freedom > 0 else inf

    @property
    def r2(self) -> float:
        """The share of the (weighted) variation that the curve explains."""
        weights = [1 / spread**2 for spread in self.points.spreads]
        pairs = list(zip(weights, self.points.values, strict=True))
        mean = fsum(w * y for w, y in pairs) / fsum(weights)
        total = fsum(w * (y - mean) ** 2 for w, y in pairs)
        return 1 - self.rss / total if total else 0.0
