"""How likely a test is to show a true difference, and how many repeats that takes.

Differences and spreads are on the scale of the test: natural logarithms for ratios.
"""

import math
from collections.abc import Callable
from functools import cache

from ventwright.contrasts.quadrature import Rule, over, panels, spreads
from ventwright.contrasts.solving import f_quantile, normal_cdf, solve
from ventwright.standards.distributions import beta_share, t_quantile

LIKELY = 0.8
"""The power that is asked for unless another is: four cases of five."""

MOST_REPEATS = 1000
_STRAIGHT = 1e-12
_NEAR = 1e-5
_MANY = 50
"""With more repeats than that of each, Welch's test and the classic one have the same power."""


def beyond(t: float, df: float, shift: float) -> float:
    """Give the chance that a noncentral t of that shift is above `t`."""
    return over(spreads(df), lambda s: normal_cdf(shift - t * s))


def _outside(critical: float, df: float, shift: float) -> float:
    return beyond(critical, df, shift) + beyond(critical, df, -shift)


def t_power(
    d: float, n: float, m: float | None = None, alpha: float = 0.05, one_sided: bool = False
) -> float:
    """Give the power of the classic two-sample t test, 0 to 1.

    `d`: difference over spread; `n` and `m` repeats (m: as many unless given), may be fractions.
    """
    m = n if m is None else m
    df, shift = n + m - 2, d / math.sqrt(1 / n + 1 / m)
    if one_sided:
        return beyond(t_quantile(1 - 2 * alpha, df), df, shift)
    return _outside(t_quantile(1 - alpha, df), df, shift)


def welch_df(v: float, w: float, n: float, m: float) -> float:
    """Give Welch's degrees of freedom for variances v, w of n, m repeats (one may be 0)."""
    a, b = v / n, w / m
    share = a / (a + b)
    return 1 / (share**2 / (n - 1) + (1 - share) ** 2 / (m - 1))


@cache
def _welch_rule(n: int, m: int, alpha: float) -> Rule:
    return own_critical(n, m, lambda v, w: t_quantile(1 - alpha, welch_df(v, w, n, m)))


def own_critical(n: int, m: int, critical: Callable[[float, float], float]) -> Rule:
    """Give critical values of the pooled t, and their chances, that a test by own spreads is.

    `critical`: the |t| that counts, by both variances. The share b of the sum of squares that is
    in the first sample is beta distributed and independent of the whole; given b, such a test is a
    t test with a critical value of its own. b = sin² makes the ends smooth.
    """
    df, found = n + m - 2, []
    base = 1 / n + 1 / m
    scale = math.lgamma(df / 2) - math.lgamma((n - 1) / 2) - math.lgamma((m - 1) / 2)
    scale += math.log(2)
    for angle, weight in panels(0.0, math.pi / 2, 2):
        b, c = math.sin(angle) ** 2, math.cos(angle) ** 2
        chance = math.exp(scale + (n - 2) * math.log(b) / 2 + (m - 2) * math.log(c) / 2)
        v, w = b / (n - 1), c / (m - 1)
        found.append((critical(v, w) * math.sqrt(df * (v / n + w / m) / base), weight * chance))
    return tuple(found)


def welch_power(d: float, n: int, m: int | None = None, alpha: float = 0.05) -> float:
    """Give the power of Welch's two-sided test where both spreads are truly equal, 0 to 1."""
    m = n if m is None else m
    if min(n, m) > _MANY:
        return t_power(d, n, m, alpha)
    return averaged(d, n, m, _welch_rule(n, m, alpha))


def averaged(d: float, n: int, m: int, rule: Rule) -> float:
    """Give the power, 0 to 1, over the critical values of the pooled t and their chances."""
    df, shift = n + m - 2, d / math.sqrt(1 / n + 1 / m)
    return over(rule, lambda critical: _outside(critical, df, shift))


def pooled_power(d: float, n: int, m: int, df: float, critical: float) -> float:
    """Give the power of a comparison with a spread pooled over all conditions, 0 to 1.

    `critical`: the |t| at which it counts, Tukey's or Dunnett's.
    """
    return _outside(critical, df, d / math.sqrt(1 / n + 1 / m))


def anova_power(between: float, within: float, groups: int, n: float, alpha: float = 0.05) -> float:
    """Give the power of the one-way F test, 0 to 1: variance of the group means, and within."""
    df1, df2 = groups - 1, groups * (n - 1)
    return _f_beyond(f_quantile(1 - alpha, df1, df2), df1, df2, df1 * n * between / within)


def _f_beyond(f: float, df1: float, df2: float, shift: float) -> float:
    """Sum the noncentral F, a Poisson mixture of beta functions, out from its largest weight."""
    x, half, kept = df1 * f / (df1 * f + df2), shift / 2, 0.0
    start = int(half)
    for step in (1, -1):
        j = start if step > 0 else start - 1
        while j >= 0:
            weight = _poisson(j, half)
            kept += weight * beta_share(df1 / 2 + j, df2 / 2, x)
            if weight < _STRAIGHT:
                break
            j += step
    return 1 - kept


def _poisson(j: int, mean: float) -> float:
    if not mean:
        return 0.0 if j else 1.0
    return math.exp(j * math.log(mean) - mean - math.lgamma(j + 1))


def repeats_for(power: Callable[[float], float], goal: float = LIKELY) -> float:
    """Find the number of repeats, a fraction from 2 on, at which `power` reaches the goal."""
    if power(2.0) >= goal:
        return 2.0
    return solve(lambda n: goal - power(n), 2.0, 4.0)


def whole_repeats(power: Callable[[int], float], goal: float = LIKELY) -> int | None:
    """Find the least whole number of repeats from 2 on; None if a thousand do not suffice."""
    high = 2
    while power(high) < goal:
        high *= 2
        if high > MOST_REPEATS:
            return None
    low = high // 2 if high > 2 else 2
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if power(middle) >= goal else (middle + 1, high)
    return high


def shown(power: Callable[[float], float], goal: float = LIKELY) -> float:
    """Give the difference over the spread at which `power` reaches the goal."""
    return solve(lambda d: goal - power(d), 0.0, 2.0, _NEAR)
