"""Several comparisons at once: Holm's steps, Tukey and Kramer's ranges, Dunnett's control."""

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

METHODS = ("usual", "holm", "tukey", "dunnett", "none")
"""`usual`: Welch's test for two conditions, Tukey or (with a reference) Dunnett for more."""


def chosen(method: str, conditions: int, reference: bool) -> str:
    """Choose the method where none was named."""
    if method != "usual":
        return method
    if conditions == 2:
        return "none"
    return "dunnett" if reference else "tukey"


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
