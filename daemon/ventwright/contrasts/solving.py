"""Finds where a falling function crosses 0, and a quantile by it."""

import math
from collections.abc import Callable

from ventwright.standards.distributions import f_tail

_MOST = 1e300


def normal_cdf(z: float) -> float:
    """Give the chance that a standard normal number is below z, 0 to 1, right in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def f_quantile(p: float, df1: float, df2: float) -> float:
    """Give the F below which Fisher's F is with chance `p`, 0 < p < 1."""
    return solve(lambda f: f_tail(f, df1, df2) - (1 - p), 0.0, 1.0)


def solve(falling: Callable[[float], float], low: float, high: float, near: float = 0.0) -> float:
    """Find where a falling function crosses 0 above `low`, widening `high` as need be.

    Infinite where it does not. `near`: how near is near enough, as a share.
    """
    while falling(high) > 0:
        low, high = high, 2 * high + 1
        if high > _MOST:
            return math.inf
    while (middle := (low + high) / 2) not in (low, high) and high - low > near * high:
        if falling(middle) > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
