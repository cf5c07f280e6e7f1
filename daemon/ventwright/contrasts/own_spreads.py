"""What counts as a difference of two conditions, each taken by its own spread.

Welch's test does, but for two repeats against more: those two now and then lie close together by
chance, and differences are then found where there are none, up to eight times as often as stated.
There Banerjee's bound is taken (1960, from memory), which holds whatever the spreads are. Knows
nothing of other conditions but the share of errors that is left for these two.
"""

import math
from functools import cache, lru_cache

from ventwright.contrasts.power import averaged, own_critical, shown, welch_power
from ventwright.contrasts.quadrature import Rule
from ventwright.contrasts.several import Joint
from ventwright.contrasts.solving import solve
from ventwright.contrasts.welch import Test, Value, centred, variance
from ventwright.standards.distributions import t_quantile, t_tail

_NEAR = 1e-12


def two_against_more(n: int, m: int) -> bool:
    """Tell whether one has two repeats and the other more."""
    return min(n, m) == 2 < max(n, m)


def bound(share: float, wide: float, alpha: float) -> float:
    """Give the |t| that counts where two repeats stand against more: t² = Σ share·t²(n - 1).

    `share` of the variance of the difference is from the two, 0 to 1; `wide` is Student's t of the
    others at a chance `alpha`. With one degree of freedom t is a cotangent.
    """
    lone = 1 / math.tan(math.pi / 2 * alpha) if alpha else math.inf
    return math.sqrt(share * lone**2 + (1 - share) * wide**2)


class Own:
    """Two conditions by their own spreads."""

    def __init__(self, one: list[Value], other: list[Value], test: Test) -> None:
        """Take the repeats, and Welch's test of them."""
        self.test = test
        self._share: float | None = None
        if test.t is None or not two_against_more(len(one), len(other)):
            return
        _, (few, more) = centred(sorted((one, other), key=len))
        self._more = len(more)
        self._share = variance(few) / 2 / test.error**2

    def chance(self) -> float | None:
        """Give the chance of such a difference where there is none, 0 to 1, or None."""
        if self.test.t is None or self._share is None:
            return self.test.p
        share, m, t = self._share, self._more, abs(self.test.t)

        def left(wide: float) -> float:
            return t - bound(share, wide, t_tail(wide, m - 1))

        return t_tail(solve(left, 0.0, 4.0, _NEAR), m - 1)

    def joint(self, alpha: float, adjusted: float | None) -> Joint | None:
        """Give the difference with an interval that fails with chance `alpha`, or None."""
        if self.test.df is None or adjusted is None:
            return None
        if self._share is None:
            wide = t_quantile(1 - alpha, self.test.df)
        else:
            wide = bound(self._share, t_quantile(1 - alpha, self._more - 1), alpha)
        return Joint(self.test.difference, wide * self.test.error, adjusted)


@lru_cache(maxsize=4096)
def own_power(d: float, n: int, m: int, alpha: float) -> float:
    """Give the power where both spreads are truly equal, 0 to 1; `d`: difference over spread."""
    if not two_against_more(n, m):
        return welch_power(d, n, m, alpha)
    return averaged(d, 2, max(n, m), _rule(max(n, m), alpha))


@cache
def own_shown(n: int, m: int, alpha: float) -> float:
    """Give the difference over the spread that would be shown in four cases of five."""
    return shown(lambda d: own_power(d, n, m, alpha))


@cache
def _rule(m: int, alpha: float) -> Rule:
    wide = t_quantile(1 - alpha, m - 1)

    def critical(v: float, w: float) -> float:
        return bound(v / 2 / (v / 2 + w / m), wide, alpha)

    return own_critical(2, m, critical)
