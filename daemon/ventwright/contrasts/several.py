"""Several comparisons at once: Šidák's share, Holm's steps, Tukey's ranges, Dunnett's control."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from ventwright.contrasts.ranges import (
    dunnett_quantile,
    dunnett_tail,
    range_quantile,
    range_tail,
)
from ventwright.contrasts.welch import Value, centred, mean, squares

METHODS = ("usual", "sidak", "holm", "tukey", "dunnett", "none")
"""`usual`: Welch's test for two conditions, with Šidák's correction for more. `tukey` and `dunnett`
take one spread for all: they see more, and err where spreads differ."""


def chosen(method: str, comparisons: int) -> str:
    """Choose the method where none was named."""
    if method != "usual":
        return method
    return "none" if comparisons == 1 else "sidak"


def sidak_share(alpha: float, comparisons: int) -> float:
    """Give the share of errors of each comparison that keeps all together at `alpha` (1967)."""
    return -math.expm1(math.log1p(-alpha) / comparisons)


def sidak(chances: Sequence[float | None]) -> list[float | None]:
    """Adjust chances by Šidák's inequality; what was not tested stays None and counts not."""
    tested = sum(p is not None for p in chances)
    return [_together(p, tested) for p in chances]


def _together(p: float | None, comparisons: int) -> float | None:
    if p is None or p >= 1:
        return p
    return -math.expm1(comparisons * math.log1p(-p))


def holm(chances: Sequence[float | None]) -> list[float | None]:
    """Adjust chances by Holm's steps (1979); what was not tested stays None and counts not."""
    known = sorted((p, place) for place, p in enumerate(chances) if p is not None)
    found: list[float | None] = [None] * len(chances)
    highest = 0.0
    for rank, (p, place) in enumerate(known):
        highest = max(highest, min(1.0, (len(known) - rank) * p))
        found[place] = highest
    return found


class Joint(NamedTuple):
    """A comparison within all: difference, half of its joint interval, adjusted chance."""

    difference: float
    half: float
    adjusted: float


class Pool:
    """The spread that all groups have in common."""

    def __init__(self, groups: Sequence[Sequence[Value]]) -> None:
        """Pool the groups; `df` is 0 where there is nothing to pool."""
        _, parts = centred(groups)
        self.sizes = [len(part) for part in parts]
        self.means = [mean(part) for part in parts]
        self.df = sum(self.sizes) - len(parts)
        squared = math.fsum(map(squares, parts))
        self.spread = math.sqrt(squared / self.df) if self.df else 0.0

    def error(self, i: int, j: int) -> float:
        """Give the standard error of the difference of two means."""
        return self.spread * math.sqrt(1 / self.sizes[i] + 1 / self.sizes[j])


def tukey(
    groups: Sequence[Sequence[Value]], pairs: Sequence[tuple[int, int]], confidence: float
) -> list[Joint]:
    """Compare all pairs by the studentised range (Tukey; Kramer 1956 for unequal repeats)."""
    pool, k = Pool(groups), len(groups)
    wide = range_quantile(confidence, k, pool.df) / math.sqrt(2)
    found = []
    for i, j in pairs:
        difference, error = pool.means[i] - pool.means[j], pool.error(i, j)
        q = abs(difference) / error * math.sqrt(2)
        found.append(Joint(difference, wide * error, range_tail(q, k, pool.df)))
    return found


def dunnett(
    groups: Sequence[Sequence[Value]], pairs: Sequence[tuple[int, int]], confidence: float
) -> list[Joint]:
    """Compare the first of each pair with the second, the same control in all (Dunnett 1955)."""
    pool, control = Pool(groups), pairs[0][1]
    sizes = [pool.sizes[i] for i, _ in pairs]
    wide = dunnett_quantile(confidence, sizes, pool.sizes[control], pool.df)
    found = []
    for i, j in pairs:
        difference, error = pool.means[i] - pool.means[j], pool.error(i, j)
        chance = dunnett_tail(abs(difference) / error, sizes, pool.sizes[control], pool.df)
        found.append(Joint(difference, wide * error, chance))
    return found
