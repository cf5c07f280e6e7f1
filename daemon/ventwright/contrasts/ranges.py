"""The largest of several differences: Tukey's studentised range and Dunnett's comparison.

Both by integration over the spread and over a standard normal number; compared in tests with a
library's. Unequal repeats: Tukey and Kramer's form, and Dunnett's with its product correlations.
"""

import math
from collections.abc import Sequence

from ventwright.contrasts.quadrature import normals, over, spreads
from ventwright.contrasts.solving import normal_cdf, solve


def range_tail(q: float, groups: int, df: float) -> float:
    """Give the chance that the studentised range of `groups` means is above `q`."""

    def within(width: float) -> float:
        return groups * over(
            normals(), lambda z: (normal_cdf(z) - normal_cdf(z - width)) ** (groups - 1)
        )

    return max(0.0, 1 - over(spreads(df), lambda s: within(q * s)))


def range_quantile(p: float, groups: int, df: float) -> float:
    """Give the studentised range that is exceeded with chance 1 - p."""
    return solve(lambda q: range_tail(q, groups, df) - (1 - p), 0.0, 4.0)


def dunnett_tail(t: float, repeats: Sequence[int], control: int, df: float) -> float:
    """Give the chance that some |t| against the control is above `t`, all being equal.

    `repeats` of the others, `control` of the control. Source: Dunnett 1955, the correlations
    being products λi·λj with λ² = n/(n + n0).
    """
    shares = [n / (n + control) for n in repeats]
    ways = [(math.sqrt(share), math.sqrt(1 - share)) for share in shares]

    def within(width: float) -> float:
        return over(normals(), lambda z: _box(z, width, ways))

    return max(0.0, 1 - over(spreads(df), lambda s: within(t * s)))


def _box(z: float, width: float, ways: Sequence[tuple[float, float]]) -> float:
    inside = 1.0
    for along, across in ways:
        high, low = (along * z + width) / across, (along * z - width) / across
        inside *= normal_cdf(high) - normal_cdf(low)
    return inside


def dunnett_quantile(p: float, repeats: Sequence[int], control: int, df: float) -> float:
    """Give the |t| that is exceeded with chance 1 - p."""
    return solve(lambda t: dunnett_tail(t, repeats, control, df) - (1 - p), 0.0, 4.0)
