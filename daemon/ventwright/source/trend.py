"""Whether clearance falls over months, and when it will be too low: the filter that fills up.

Plain figures in, plain figures out; knows no store and no extractor. Slope by Theil and Sen, the
median of the slopes of all pairs; whether it is one by Kendall's test as Mann made it for trends,
with ties: H. B. Mann, Econometrica 13 (1945) 245, and P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379
(both from memory).
"""

import math
from collections import Counter
from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

from ventwright.settings.model import DAY

ENOUGH = 8
"""Uses below which nothing is said of a trend."""
_SPAN = 14 * DAY
_MOST = 400
"""Of more uses than this, the newest count: all pairs are looked at."""
_SURE = 0.05
_HORIZON = 730 * DAY


class Use(NamedTuple):
    """What one use of an extractor showed: time, Unix ms, and share of the commissioned figure."""

    t: int
    share: float


class Trend(NamedTuple):
    """What the uses say together."""

    uses: int
    level: float
    """Share now, by the line through all."""
    a_month: float
    """Change of the share in 30 days."""
    chance: float
    """How likely so much trend is where there is none, 0..1."""
    due: int | None
    """When the share reaches the lowest that is still good, Unix ms; None if it does not."""

    @property
    def falls(self) -> bool:
        """Whether clearance falls, by all that can be told."""
        return self.chance < _SURE and self.a_month < 0


def trend_of(uses: Sequence[Use], lowest: float) -> Trend | None:
    """Test uses in order of time for a trend; None where they are too few or too close together.

    `lowest` is the share at which something has to be done.
    """
    uses = uses[-_MOST:]
    if len(uses) < ENOUGH or uses[-1].t - uses[0].t < _SPAN:
        return None
    slope = median(
        (b.share - a.share) / (b.t - a.t)
        for n, a in enumerate(uses)
        for b in uses[n + 1 :]
        if b.t > a.t
    )
    end = uses[-1].t
    level = median(use.share + slope * (end - use.t) for use in uses)
    trend = Trend(len(uses), level, slope * 30 * DAY, _mann_kendall([u.share for u in uses]), None)
    if not trend.falls:
        return trend
    left = max(0.0, (level - lowest) / -slope)
    return trend._replace(due=round(end + left)) if left <= _HORIZON else trend


def _mann_kendall(values: Sequence[float]) -> float:
    """Give the two-sided chance of so much order by accident, by the normal approximation."""
    n = len(values)
    score = sum((b > a) - (b < a) for i, a in enumerate(values) for b in values[i + 1 :])
    ties = sum(k * (k - 1) * (2 * k + 5) for k in Counter(values).values())
    variance = (n * (n - 1) * (2 * n + 5) - ties) / 18
    if variance <= 0 or not score:
        return 1.0
    z = (abs(score) - 1) / math.sqrt(variance)
    return math.erfc(z / math.sqrt(2))
