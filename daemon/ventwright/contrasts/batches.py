"""Looks for patterns that have nothing to do with the conditions: a day, a spool, the order.

A pattern is named where the condition allowed for still leaves one that chance makes in less than
one case of twenty, over all looks together (Holm).
"""

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from ventwright.contrasts.columns import DEPENDENT, beside, dot, marks, upright
from ventwright.contrasts.sample import Sample
from ventwright.contrasts.several import holm
from ventwright.contrasts.verdicts import chance
from ventwright.contrasts.welch import mean
from ventwright.standards.distributions import f_tail

_RARE = 0.05
ORDER = "order"


class _Look(NamedTuple):
    """The chance of a pattern, the sentence to say, and the kind of batch, if it is one."""

    p: float
    says: str
    kind: str = ""


class Patterns(NamedTuple):
    """What is to be said of batches, and which kinds of them matter."""

    says: list[str]
    kinds: list[str]


def patterns(
    samples: Sequence[Sample], values: Sequence[float], log: bool, timed: bool = True
) -> Patterns:
    """Look for patterns, given `values` on the scale of the comparison.

    `timed`: the samples are known to stand in the order in which they were made.
    """
    kinds = sorted({kind for sample in samples for kind in sample.batches})
    found = [says for kind in kinds if (says := _tangled(samples, kind))]
    looks = [look for kind in kinds if (look := _batch(samples, values, kind, log))]
    if trend := _trend(samples, values, log, timed):
        looks.append(trend)
    chances = holm([look.p for look in looks])
    pairs = zip(looks, chances, strict=True)
    shown = [look for look, p in pairs if p is not None and p < _RARE]
    return Patterns(
        found + [look.says for look in shown], [look.kind for look in shown if look.kind]
    )


def _batches(samples: Sequence[Sample], kind: str) -> list[str]:
    return [sample.batches.get(kind, "") for sample in samples]


def _tangled(samples: Sequence[Sample], kind: str) -> str:
    """Say where conditions and batches cannot be told apart."""
    within: dict[str, set[str]] = {}
    for sample, batch in zip(samples, _batches(samples, kind), strict=True):
        within.setdefault(batch, set()).add(sample.condition)
    conditions = {sample.condition for sample in samples}
    if len(within) < 2 or len(conditions) < 2 or any(len(held) > 1 for held in within.values()):
        return ""
    return (
        f"No {kind} holds prints of two conditions: a difference between one {kind} and another "
        f"would look like one between conditions. Print the conditions in turn within a {kind}."
    )


def _batch(
    samples: Sequence[Sample], values: Sequence[float], kind: str, log: bool
) -> _Look | None:
    batches = _batches(samples, kind)
    extra = [marks(batches, batch) for batch in sorted(set(batches))]
    p = _chance(samples, values, extra)
    if p is None:
        return None
    rest = _residuals(samples, values)
    middles = {
        batch: mean([r for r, b in zip(rest, batches, strict=True) if b == batch])
        for batch in set(batches)
    }
    high, low = max(middles, key=middles.__getitem__), min(middles, key=middles.__getitem__)
    by = _by(middles[high] - middles[low], log)
    return _Look(
        p,
        f"The {kind} matters: with the condition allowed for, prints of {kind} {high} came out "
        f"{by} those of {low} ({chance(p)}). Compare within one {kind}, or spread each condition "
        "over all.",
        kind,
    )


def _by(difference: float, log: bool) -> str:
    return f"{math.exp(difference):.2g} times" if log else f"{difference:.2g} above"


def _trend(
    samples: Sequence[Sample], values: Sequence[float], log: bool, timed: bool
) -> _Look | None:
    orders = [float(sample.order) for sample in samples]
    if len(set(orders)) < len(orders):
        return None
    p = _chance(samples, values, [orders])
    if p is None:
        return None
    rest = _residuals(samples, values)
    along = _residuals(samples, orders)
    slope = math.fsum(a * r for a, r in zip(along, rest, strict=True)) / math.fsum(
        a * a for a in along
    )
    change = slope * (max(orders) - min(orders))
    way = "higher" if change > 0 else "lower"
    size = f"by a factor of {math.exp(abs(change)):.2g}" if log else f"by {abs(change):.2g}"
    return _Look(
        p,
        f"{_in_order(timed)}he later the print, the {way}: {size} from the first to the last, with "
        f"the condition allowed for ({chance(p)}). Something drifts: a nozzle, a filter, "
        "the sensor, the season.",
    )


def _in_order(timed: bool) -> str:
    """Begin a sentence that holds only in the order of printing, which a table need not have."""
    return "T" if timed else "If the lines stand in the order of printing, t"


def _residuals(samples: Sequence[Sample], values: Sequence[float]) -> list[float]:
    """Take from each value the mean of its condition."""
    held: dict[str, list[float]] = {}
    for sample, value in zip(samples, values, strict=True):
        held.setdefault(sample.condition, []).append(value)
    middles = {name: mean(found) for name, found in held.items()}
    pairs = zip(samples, values, strict=True)
    return [value - middles[sample.condition] for sample, value in pairs]


def _chance(
    samples: Sequence[Sample], values: Sequence[float], extra: Sequence[Sequence[float]]
) -> float | None:
    """Give the chance of what the extra columns explain beyond the conditions (F test)."""
    conditions = [sample.condition for sample in samples]
    own = [marks(conditions, condition) for condition in sorted(set(conditions))]
    first, rank = _rest(own, values)
    second, more = _rest([*own, *extra], values)
    df = len(values) - more
    if more == rank or df < 1 or second <= DEPENDENT * first:
        return None
    return f_tail((first - second) / (more - rank) / (second / df), more - rank, df)


def _rest(columns: Sequence[Sequence[float]], values: Sequence[float]) -> tuple[float, int]:
    """Give the sum of squares that columns do not explain, and how many of them count."""
    units = upright(columns)
    left = beside(units, values)
    return dot(left, left), len(units)


def together(samples: Sequence[Sample], timed: bool = True) -> Iterator[str]:
    """Say where all prints of one condition came before all of another."""
    every = "Every" if timed else "If the lines stand in the order of printing, every"
    spans: dict[str, tuple[int, int, int]] = {}
    for sample in samples:
        low, high, count = spans.get(sample.condition, (sample.order, sample.order, 0))
        spans[sample.condition] = (min(low, sample.order), max(high, sample.order), count + 1)
    names = sorted(spans, key=spans.__getitem__)
    in_rows = all(spans[a][1] < spans[b][0] for a, b in pairwise(names))
    if len(names) > 1 and in_rows and all(count > 1 for *_, count in spans.values()):
        yield (
            f"{every} condition was printed in one go, one after another: whatever drifted "
            "meanwhile would look like a difference between them. Take the conditions in turn."
        )
