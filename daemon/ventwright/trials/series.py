"""Minute means of one channel over a test print, and where its phases lie; knows no store.

Times are hours since the first phase began; levels in the channel's unit.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from ventwright.standards.distributions import t_quantile

MINUTE_H = 1 / 60


class Minute(NamedTuple):
    """A mean from `begins` to `ends` (h); whether the extractor ran then."""

    begins: float
    ends: float
    mean: float
    extracting: bool = False
    taken: float | None = None
    """When it was taken, h, where it is one reading that stands for the time around it."""

    @property
    def middle(self) -> float:
        """When it is, h."""
        return (self.begins + self.ends) / 2 if self.taken is None else self.taken


class Span(NamedTuple):
    """From when to when, h."""

    begins: float
    ends: float

    @property
    def hours(self) -> float:
        """How long, h."""
        return self.ends - self.begins


@dataclass(frozen=True)
class Series:
    """What was measured over the three phases; gaps have no minute."""

    minutes: Sequence[Minute]
    background: Span
    print: Span
    decay: Span
    step: float
    """The step in which the part tells values, channel's unit; 0 if it is fine."""

    def within(self, span: Span) -> list[Minute]:
        """Give the minutes wholly within a span."""
        slack = MINUTE_H / 1000
        return [
            m
            for m in self.minutes
            if m.begins >= span.begins - slack and m.ends <= span.ends + slack
        ]

    def pieces(self, span: Span) -> Iterator[Minute]:
        """Cover a span without a gap: minutes cut at its ends, gaps taken in a straight line."""
        before = None
        reached = span.begins
        for minute in self.minutes:
            if minute.ends <= span.begins:
                before = minute
                continue
            if minute.begins > reached:
                yield from _bridge(reached, min(minute.begins, span.ends), before, minute)
            if minute.begins >= span.ends:
                return
            begins, ends = max(minute.begins, span.begins), min(minute.ends, span.ends)
            yield minute._replace(begins=begins, ends=ends, taken=None)
            before, reached = minute, ends
        if before is not None and reached < span.ends:
            yield Minute(reached, span.ends, before.mean, before.extracting)

    def coverage(self, span: Span) -> float:
        """Give the share of a span that minutes cover, 0 to 1."""
        parts = [
            min(m.ends, span.ends) - max(m.begins, span.begins)
            for m in self.minutes
            if m.ends > span.begins and m.begins < span.ends
        ]
        return min(1.0, math.fsum(parts) / span.hours) if span.hours > 0 else 0.0


def _bridge(begins: float, ends: float, before: Minute | None, after: Minute) -> Iterator[Minute]:
    if ends <= begins:
        return
    first = before.mean if before else after.mean
    share = (ends - begins) / max(after.begins - begins, ends - begins)
    last = first + (after.mean - first) * share
    yield Minute(begins, ends, (first + last) / 2, after.extracting)


def alike(residuals: Sequence[float], known: int) -> float:
    """Give by what the variance of a mean grows because residuals resemble their neighbours.

    From the correlation r of neighbours, put right for few points, as (1 + r)/(1 - r); at least 1.
    """
    count = len(residuals)
    total = math.fsum(r * r for r in residuals)
    if count < known + 4 or not total:
        return 1.0
    first = math.fsum(a * b for a, b in pairwise(residuals)) / total
    r = min(0.9, (count * first + known) / (count - known))
    return (1 + r) / (1 - r) if r > 0 else 1.0


def half_width(standard: float, freedom: float = math.inf) -> float:
    """Give half of the 95 % interval that belongs to a standard uncertainty."""
    return standard * (t_quantile(0.95, freedom) if freedom < 200 else 1.96)
