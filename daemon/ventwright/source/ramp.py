"""One well-mixed zone whose inflow rises or falls by itself: dX/dt = g - k·X, dg/dt = r.

A step of the filter that tracking.py has for an even inflow, with the rise r as a third unknown,
which may change slowly: what smokes or dries fades, and few things rise quite evenly.
"""

import math

from ventwright.source.tracking import FARTHEST, Ahead, Filter, Step

Bend = tuple[float, float, float, float]
"""r (the channel's unit per hour squared) and its covariances Xr, gr, rr."""

_BENDS = 0.05
"""By what share of itself a rise may change in a step of 20 s. Ours."""

_FLAT = 0.0, 0.0, 0.0, 0.0


def flat() -> Bend:
    """Know that nothing rises."""
    return _FLAT


def ramped(variance: float) -> Bend:
    """Know nothing of a rise but its variance."""
    return 0.0, 0.0, 0.0, variance


def update_ramp(
    air: Filter, ramp: Bend, ahead: Ahead, step: Step, gain: float, d: float
) -> tuple[Filter, Bend, float]:
    """Predict a step ahead and correct by what was seen of `d` hours before.

    Gives also the logarithm of how likely that was; `gain` is the variance that the inflow gains.
    With kept = e^(-kh): X' = kept·X + (1-kept)/k·g + (h-(1-kept)/k)/k·r and g' = g + h·r.
    """
    (x, g, xx, xg, gg), (r, xr, gr, rr) = air, ramp
    h, (k, kept, share) = step.hours, ahead
    lift = (h - share) / k
    gg += gain
    rr += (_BENDS * r) ** 2
    ox, og, orr = (
        kept * xx + share * xg + lift * xr,
        kept * xg + share * gg + lift * gr,
        kept * xr + share * gr + lift * rr,
    )
    x, g = kept * x + share * g + lift * r, g + h * r
    xx = kept * ox + share * og + lift * orr + step.wander
    xg, xr = og + h * orr, orr
    gg += 2 * h * gr + h * h * rr
    gr += h * rr
    seen = 1 + d * k
    off = step.value - (seen * x - d * g)
    sx, sg, sr = seen * xx - d * xg, seen * xg - d * gg, seen * xr - d * gr
    s = max(seen * sx - d * sg, 0.0) + step.noise
    ax, ag, ar = sx / s, sg / s, sr / s
    after = x + ax * off, g + ag * off, xx - ax * sx, xg - ax * sg, gg - ag * sg
    rise = r + ar * off, xr - ax * sr, gr - ag * sr, rr - ar * sr
    return after, rise, -0.5 * (min(off * off / s, FARTHEST) + math.log(s))
