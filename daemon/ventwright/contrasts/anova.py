"""One-way analysis of variance: F tests and where the spread comes from, between or within.

Repeats may differ in number. Values are on the scale of the comparison.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from ventwright.contrasts.welch import Value, centred, mean, squares, variance
from ventwright.standards.distributions import chi2_tail, f_tail
from ventwright.trials.figures import Variance

_GOLDEN = (math.sqrt(5) - 1) / 2
_ROUNDS = 200


def one_way(groups: Sequence[Sequence[Value]]) -> Variance | None:
    """Analyse groups of repeats; None with one group only, no repeats, or no spread at all."""
    _, parts = centred(groups)
    everything = [value for part in parts for value in part]
    df1, df2 = len(parts) - 1, len(everything) - len(parts)
    if df1 < 1 or df2 < 1:
        return None
    within = math.fsum(map(squares, parts))
    middle = mean(everything)
    between = math.fsum(len(part) * (mean(part) - middle) ** 2 for part in parts)
    if not within:
        return None
    f = between / df1 / (within / df2)
    usual = _usual_repeats(parts)
    apart = max(0.0, (between / df1 - within / df2) / usual)
    total = between + within
    p = f_tail(f, df1, df2)
    return Variance(f, df1, df2, p, between, within, apart, within / df2, between / total)


def _usual_repeats(parts: Sequence[Sequence[float]]) -> float:
    """Give the repeats of a group that stand for unequal ones: (N - Σn²/N)/(k - 1)."""
    sizes = [len(part) for part in parts]
    return (sum(sizes) - sum(n * n for n in sizes) / sum(sizes)) / (len(sizes) - 1)


def even_spreads(groups: Sequence[Sequence[Value]]) -> float | None:
    """Give the chance that groups of one spread differ so in theirs (Bartlett 1937).

    None with fewer than two groups of repeats; 0 where some spread and others do not at all.
    """
    repeated = [group for group in groups if len(group) > 1]
    parts = centred(repeated)[1] if repeated else []
    k, df = len(parts), sum(len(part) - 1 for part in parts)
    pooled = math.fsum(map(squares, parts))
    if k < 2 or not pooled:
        return None
    if not all(variance(part) for part in parts):
        return 0.0
    apart = df * math.log(pooled / df)
    apart -= math.fsum((len(part) - 1) * math.log(variance(part)) for part in parts)
    few = math.fsum(1 / (len(part) - 1) for part in parts) - 1 / df
    return chi2_tail(max(0.0, apart / (1 + few / (3 * (k - 1)))), k - 1)


class Welch(NamedTuple):
    """Welch's F test, for groups of unequal spread."""

    f: float
    df_between: float
    df_within: float
    p: float


def welch_one_way(groups: Sequence[Sequence[Value]]) -> Welch | None:
    """Compare all means without taking the spreads for equal (Welch 1951); None if it cannot."""
    _, parts = centred(groups)
    if len(parts) < 2 or any(len(part) < 2 or not variance(part) for part in parts):
        return None
    weights = [len(part) / variance(part) for part in parts]
    total, k = math.fsum(weights), len(parts)
    middle = math.fsum(w * mean(part) for w, part in zip(weights, parts, strict=True)) / total
    between = math.fsum(
        w * (mean(part) - middle) ** 2 for w, part in zip(weights, parts, strict=True)
    )
    uneven = math.fsum(
        (1 - w / total) ** 2 / (len(part) - 1) for w, part in zip(weights, parts, strict=True)
    )
    f = between / (k - 1) / (1 + 2 * (k - 2) * uneven / (k * k - 1))
    df2 = (k * k - 1) / (3 * uneven)
    return Welch(f, k - 1, df2, f_tail(f, k - 1, df2))


class Components(NamedTuple):
    """Variances between and within groups, and the mean of all groups."""

    between: float
    within: float
    mean: float


def likely_components(groups: Sequence[Sequence[Value]]) -> Components | None:
    """Find the components of the greatest restricted likelihood (REML); None as for `one_way`.

    For equal repeats the same as those from the mean squares, unless these are negative.
    """
    base, parts = centred(groups)
    found = one_way(groups)
    if found is None:
        return None
    sizes, middles = [len(p) for p in parts], [mean(p) for p in parts]
    low, high = -40.0, 40.0

    def worse(log_ratio: float) -> float:
        return _deviance(math.exp(log_ratio), sizes, middles, found.ss_within)

    for _ in range(_ROUNDS):
        a, b = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        low, high = (low, b) if worse(a) < worse(b) else (a, high)
    ratio = math.exp((low + high) / 2)
    ratio = 0.0 if worse(-40.0) <= worse(math.log(ratio)) else ratio
    middle, rest = _profiled(ratio, sizes, middles, found.ss_within)
    within = rest / (sum(sizes) - 1)
    return Components(ratio * within, within, base + middle)


def _profiled(
    ratio: float, sizes: Sequence[int], middles: Sequence[float], within: float
) -> tuple[float, float]:
    """Give the weighted mean and sum of squares at a ratio of between to within."""
    weights = [n / (1 + n * ratio) for n in sizes]
    middle = math.fsum(w * y for w, y in zip(weights, middles, strict=True)) / math.fsum(weights)
    apart = math.fsum(w * (y - middle) ** 2 for w, y in zip(weights, middles, strict=True))
    return middle, within + apart


def _deviance(ratio: float, sizes: Sequence[int], middles: Sequence[float], within: float) -> float:
    _, rest = _profiled(ratio, sizes, middles, within)
    spreads = math.fsum(math.log1p(n * ratio) for n in sizes)
    weight = math.fsum(n / (1 + n * ratio) for n in sizes)
    return (sum(sizes) - 1) * math.log(rest) + spreads + math.log(weight)
