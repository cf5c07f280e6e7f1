"""Compares two conditions with what else differed allowed for: the other labels, the day.

Each adds the same to every condition (on the log scale: a factor); that is taken, not tested.
"""

import math
from collections.abc import Sequence

from ventwright.contrasts.columns import DEPENDENT, beside, dot, marks, upright
from ventwright.contrasts.power import beyond, shown
from ventwright.contrasts.sample import Sample
from ventwright.contrasts.verdicts import LIKELY, chance, factor
from ventwright.contrasts.welch import Test
from ventwright.standards.distributions import t_quantile, t_tail


def allowed_for(
    samples: Sequence[Sample], values: Sequence[float], kinds: Sequence[str], one: str, other: str
) -> Test | None:
    """Test one condition minus another with kinds of batches allowed for; None if it cannot be."""
    strata = []
    for kind in kinds:
        batches = [sample.batches.get(kind, "") for sample in samples]
        strata += [marks(batches, batch) for batch in sorted(set(batches))]
    conditions = [sample.condition for sample in samples]
    rest = [marks(conditions, name) for name in sorted(set(conditions) - {one, other})]
    units = upright([[1.0] * len(samples), *strata, *rest])
    own = beside(units, marks(conditions, one))
    size = dot(own, own)
    left = beside([*units, [x / math.sqrt(size) for x in own]], values) if size else []
    df = len(values) - len(units) - 1
    if size <= DEPENDENT or df < 1 or dot(left, left) <= 0:
        return None
    difference = dot(own, values) / size
    error = math.sqrt(dot(left, left) / df / size)
    t = difference / error
    return Test(difference, error, t, df, t_tail(t, df))


def sentence(kinds: Sequence[str], one: str, other: str, test: Test, alpha: float) -> str:
    """Say what such a comparison of ratios came to."""
    assert test.df is not None
    high, low = (one, other) if test.difference >= 0 else (other, one)
    ends = test.interval(1 - alpha)
    assert ends is not None
    size = [math.exp(end) for end in sorted((ends[0], ends[1]))]
    if test.difference < 0:
        size = [1 / size[1], 1 / size[0]]
    head = f"With {' and '.join(kinds)} allowed for, one spread taken for all: "
    told = f"95 %: {size[0]:.3g} to {size[1]:.3g}; {chance(test.p)}"
    if test.p is not None and test.p < alpha:
        return f"{head}{high} is {factor(math.exp(abs(test.difference)))} times {low} ({told})."
    found = math.exp(test.error * _shown(test.df, alpha))
    return (
        f"{head}no difference between {one} and {other} that these prints could show; a factor of "
        f"{factor(found)} would have shown {LIKELY} ({chance(test.p)})."
    )


def _shown(df: float, alpha: float) -> float:
    """Give the difference over its error that would show four times in five."""
    critical = t_quantile(1 - alpha, df)
    return shown(lambda d: beyond(critical, df, d) + beyond(critical, df, -d))
