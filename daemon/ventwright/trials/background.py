"""What the room shows without a source, from the background phase: a level, and a way towards it.

After a flush the air is not at its own level yet, and comes to it at the loss rate:
C(t) = level + lead·exp(-k·t). That lead is taken to be within the distance to which the air was
flushed, for few minutes cannot tell it from the level; both errors, and how they lean on each
other, go into every figure.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from ventwright.trials.series import Minute, alike


class Background(NamedTuple):
    """The level without a source, and the lead at the time `begins` (h), unit of the channel."""

    level: float
    lead: float
    rate: float
    begins: float
    level_error: float
    lead_with_level: float
    """By how much the lead is off where the level is off by its error."""
    lead_error: float
    """The error of the lead that is left with the level known."""
    noise: float
    """Standard deviation of a minute mean."""
    alike: float
    """By what the variance of a mean of minutes is larger than theirs over their number."""
    minutes: int

    def at(self, hours: float) -> float:
        """Give what is expected without a source at a time, h."""
        return self.level + self.lead * math.exp(-self.rate * (hours - self.begins))

    def moved(self) -> "Background":
        """Give it with the level off by its error and the lead along with it."""
        return self._replace(
            level=self.level + self.level_error, lead=self.lead + self.lead_with_level
        )


def fit_background(
    minutes: Sequence[Minute],
    begins: float,
    rate: float,
    within: float,
    step: float,
    known: float | None = None,
) -> Background:
    """Fit level and lead to the minutes of the background phase at a loss rate (1/h).

    `within`: the distance to which the air was flushed, taken for two standard deviations.
    `step`: what the part rounds to; where it hides the noise its own error is added.
    `known`: the level, where it is not to be fitted. Raises ValueError without three minutes.
    """
    if known is not None:
        return Background(known, 0.0, rate, begins, 0.0, 0.0, 0.0, 0.0, 1.0, len(minutes))
    if len(minutes) < 3:
        raise ValueError("the background phase has fewer than three minutes of good readings")
    shapes = [math.exp(-rate * (m.middle - begins)) for m in minutes]
    levels = [m.mean for m in minutes]
    noise, grown = _noise(levels)
    variance = max(grown * noise**2, 1e-12)
    level, lead, covariance = _least_squares(shapes, levels, variance, (within / 2) ** 2)
    rounding = step / math.sqrt(12) if noise < step / 4 else 0.0
    level_error = math.hypot(math.sqrt(covariance[0]), rounding)
    along = covariance[1] / math.sqrt(covariance[0])
    rest = math.sqrt(max(0.0, covariance[2] - along**2))
    return Background(
        level, lead, rate, begins, level_error, along, rest, noise, grown, len(minutes)
    )


def _noise(levels: Sequence[float]) -> tuple[float, float]:
    """Give the deviation of minutes about a straight line, and how alike neighbours are."""
    n = len(levels)
    middle, centre = math.fsum(levels) / n, (n - 1) / 2
    across = math.fsum((i - centre) ** 2 for i in range(n))
    slope = math.fsum((i - centre) * y for i, y in enumerate(levels)) / across
    off = [y - middle - slope * (i - centre) for i, y in enumerate(levels)]
    return math.sqrt(math.fsum(r * r for r in off) / max(1, n - 2)), alike(off, 2)


def _least_squares(
    shapes: Sequence[float], levels: Sequence[float], variance: float, prior: float
) -> tuple[float, float, tuple[float, float, float]]:
    """Solve for level and lead, the lead known beforehand to be 0 with variance `prior`."""
    n = len(levels) / variance
    s = math.fsum(shapes) / variance
    ss = math.fsum(x * x for x in shapes) / variance + 1 / max(prior, 1e-12)
    y = math.fsum(levels) / variance
    sy = math.fsum(x * v for x, v in zip(shapes, levels, strict=True)) / variance
    size = n * ss - s * s
    return (ss * y - s * sy) / size, (n * sy - s * y) / size, (ss / size, -s / size, n / size)
