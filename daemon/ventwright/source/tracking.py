"""Tracks level and inflow of one well-mixed zone at one assumed loss rate; tells how well it fits.

The zone: dX/dt = g - k·X, with X the level above the baseline, g what comes in per volume and hour,
k the loss rate (1/h). Nothing emits, or something emits evenly, or what it emits changes: three
Kalman filters whose estimates are mixed by how well each explains the readings (the interacting
multiple model of Blom and Bar-Shalom, IEEE Trans. Automatic Control 33 (1988) 780, from memory).
A reading shows the mean over a step, so the level of half a step ago: y = X - d·(g - k·X).

Knows no channel, no extractor and no clock; constant cost.
"""

import math
from typing import NamedTuple

Filter = tuple[float, float, float, float, float]
"""X, g and their covariances XX, Xg, gg, of one filter."""

Chances = tuple[float, float, float]
"""Of: nothing emits, it emits evenly, it changes."""

FROM_QUIET: Chances = (0.994, 0.0, 0.006)
FROM_EVEN: Chances = (0.002, 0.993, 0.005)
FROM_MOVING: Chances = (0.10, 0.15, 0.75)
"""Chances of what follows, a step of 20 s. A print begins once in an hour or more, emits as before
for half an hour, and changes within a minute or two. Ours."""

_LEAST = 1e-30
FARTHEST = 100.0
"""Squared deviations beyond this are all equally unlikely: something happened that no filter knows,
and none of them may be ruled out for it."""


class Step(NamedTuple):
    """What one step brings for every assumed rate."""

    hours: float
    value: float
    """The mean over the step, above the baseline."""
    noise: float
    """Variance of that mean."""
    delay: float
    """How old the level is that it shows, h."""
    lag: float
    """How much later still the part shows it, h."""
    calm: float
    """Variance that the inflow gains in a step while it is even, (per hour)²."""
    wild: float
    """The same while it changes."""
    wander: float
    """Variance that the level gains in a step by itself."""
    steep: float = 0.0
    """Variance of how fast the inflow rises where it begins to, (per hour²)²."""


class Track:
    """One assumed rate: three filters and their chances."""

    __slots__ = ("chances", "doubt", "filters", "rate", "still")

    def __init__(
        self, rate: float, start: Filter, chances: Chances, still: float, doubt: float
    ) -> None:
        """Start all from one estimate; `still` is the inflow while nothing emits, `doubt` its
        variance.
        """
        self.rate, self.chances, self.still, self.doubt = rate, chances, still, doubt
        self.filters = (self._quieted(start), start, start)

    def step(self, step: Step) -> float:
        """Take a step; returns the logarithm of how likely its value was."""
        (q, e, m), filters = self.chances, self.filters
        ahead = ahead_at(self.rate, step.hours)
        quiet = q * FROM_QUIET[0], e * FROM_EVEN[0], m * FROM_MOVING[0]
        even = 0.0, e * FROM_EVEN[1], m * FROM_MOVING[1]
        moving = q * FROM_QUIET[2], e * FROM_EVEN[2], m * FROM_MOVING[2]
        still = filters[0], self._quieted(filters[1]), self._quieted(filters[2])
        zero, like_zero = update(_mix3(still, quiet), ahead, step, 0.0, step.delay)
        one, like_one = update(_mix3(filters, even), ahead, step, step.calm, step.delay)
        two, like_two = update(_mix3(filters, moving), ahead, step, step.wild, step.delay)
        likely = (
            math.exp(like_zero) * sum(quiet),
            math.exp(like_one) * sum(even),
            math.exp(like_two) * sum(moving),
        )
        total = likely[0] + likely[1] + likely[2] + _LEAST
        self.filters = zero, one, two
        self.chances = likely[0] / total, likely[1] / total, likely[2] / total
        return math.log(total)

    def _quieted(self, one: Filter) -> Filter:
        """Let what emitted have ended: the inflow is what it is without."""
        return one[0], self.still, one[2], 0.0, self.doubt

    def mixed(self) -> Filter:
        """Give level and inflow with their covariances, the filters taken together."""
        return _mix3(self.filters, self.chances)


def mix(filters: tuple[Filter, ...], weights: tuple[float, ...]) -> Filter:
    """Mix estimates; what they differ by is uncertainty."""
    total = sum(weights) + _LEAST
    x = g = xx = xg = gg = 0.0
    for one, weight in zip(filters, weights, strict=True):
        x += weight * one[0]
        g += weight * one[1]
    x, g = x / total, g / total
    for one, weight in zip(filters, weights, strict=True):
        dx, dg = one[0] - x, one[1] - g
        xx += weight * (one[2] + dx * dx)
        xg += weight * (one[3] + dx * dg)
        gg += weight * (one[4] + dg * dg)
    return x, g, xx / total, xg / total, gg / total


def _mix3(filters: tuple[Filter, Filter, Filter], weights: Chances) -> Filter:
    """Mix three estimates as `mix` does, in half the time: it is most of the work of a step."""
    (xa, ga, xxa, xga, gga), (xb, gb, xxb, xgb, ggb), (xc, gc, xxc, xgc, ggc) = filters
    a, b, c = weights
    total = a + b + c + _LEAST
    a, b, c = a / total, b / total, c / total
    x, g = a * xa + b * xb + c * xc, a * ga + b * gb + c * gc
    ya, yb, yc, ha, hb, hc = xa - x, xb - x, xc - x, ga - g, gb - g, gc - g
    return (
        x,
        g,
        a * (xxa + ya * ya) + b * (xxb + yb * yb) + c * (xxc + yc * yc),
        a * (xga + ya * ha) + b * (xgb + yb * hb) + c * (xgc + yc * hc),
        a * (gga + ha * ha) + b * (ggb + hb * hb) + c * (ggc + hc * hc),
    )


Ahead = tuple[float, float, float]
"""What a step at a loss rate makes of things: the rate k, e^(-k·h) and (1 - e^(-k·h))/k."""


def ahead_at(k: float, hours: float) -> Ahead:
    """Prepare a step of `hours` at the rate `k`, 1/h."""
    kept = math.exp(-k * hours)
    return k, kept, (1 - kept) / k


def update(before: Filter, ahead: Ahead, step: Step, gain: float, d: float) -> tuple[Filter, float]:
    """Predict a step ahead and correct by what was seen of `d` hours before.

    Gives also the logarithm of how likely that was; `gain` is the variance that the inflow gains.
    """
    x, g, xx, xg, gg = before
    k, kept, share = ahead
    gg += gain
    x, xx, xg = (
        kept * x + share * g,
        kept * kept * xx + 2 * kept * share * xg + share * share * gg + step.wander,
        kept * xg + share * gg,
    )
    h = 1 + d * k
    off = step.value - (h * x - d * g)
    sx, sg = h * xx - d * xg, h * xg - d * gg
    s = max(h * sx - d * sg, 0.0) + step.noise
    ax, ag = sx / s, sg / s
    after = (x + ax * off, g + ag * off, xx - ax * sx, xg - ax * sg, gg - ag * sg)
    return after, -0.5 * (min(off * off / s, FARTHEST) + math.log(s))
