"""One repeat as the comparison takes it, wherever it is from, and how groups are made of them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ventwright.contrasts.welch import Value


class CompareError(ValueError):
    """What was given cannot be compared; the text is one clear sentence."""


def _nothing() -> dict[str, str]:
    return {}


@dataclass(frozen=True)
class Sample:
    """A repeat: one print, or one line of a table."""

    name: str
    condition: str
    value: Value
    batches: Mapping[str, str] = field(default_factory=_nothing)
    """What it was made in, by kind: day, spool, printer."""
    order: int = 0
    below: bool = False
    """Whether `value` is no more than an upper bound."""


def grouped(samples: Sequence[Sample]) -> dict[str, list[Sample]]:
    """Map conditions to their repeats, both in the order of their first coming."""
    found: dict[str, list[Sample]] = {}
    for sample in samples:
        found.setdefault(sample.condition, []).append(sample)
    return found


def scaled(sample: Sample, log: bool) -> Value:
    """Give the value on the scale of the comparison; raises CompareError where it has no log."""
    if not log:
        return sample.value
    if sample.value <= 0:
        raise CompareError(
            f"{sample.name} is {float(sample.value):g}: ratios need values above 0; "
            "compare differences instead with --scale linear"
        )
    return math.log(sample.value)
