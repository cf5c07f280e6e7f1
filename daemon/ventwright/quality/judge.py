"""Judges every value of a part's samples: whole steps and a quality mark each.

Knows one part; knows no mean, no alarm and no other part.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from ventwright.quality.marks import Quality
from ventwright_drivers.part import Sample
from ventwright_drivers.quantities import QUANTITIES

STUCK_AFTER_MS = 10 * 60_000
"""A live optical part never repeats all its values for so long, unless they are all zero."""

_ORDERED = (
    ("pm1", "pm2_5", "pm4", "pm10"),
    ("n10", "n5", "n2_5", "n1", "n0_5", "n0_3"),
)
"""Quantities of which each includes the one before it."""

_HUGE = 1e12

_SLACK = 1.1
_SLACK_UNITS = 2.0


class PartKind(NamedTuple):
    """What the core must know of a part's driver."""

    model: str
    quantities: tuple[str, ...]
    period: int
    silence: int
    warm_up: int
    optical: bool


class Judge:
    """The judge of one part's samples."""

    def __init__(self, kind: PartKind) -> None:
        """Start cold: everything is warming up until `begin`."""
        self._kind = kind
        quantities = [QUANTITIES[name] for name in kind.quantities]
        self._scales = [q.per_unit for q in quantities]
        self._ranges = [(q.lowest * q.per_unit, q.highest * q.per_unit) for q in quantities]
        self._chains = [_places(chain, kind.quantities) for chain in _ORDERED]
        self._good = bytes(len(quantities))
        self.warm_until = 1 << 62
        """When the part will have warmed up, ms."""
        self._same: tuple[int | None, ...] = ()
        self._same_since = 0

    def begin(self, t: int) -> None:
        """The part was started at `t` ms."""
        self.warm_until = t + self._kind.warm_up

    def judge(self, t: int, sample: Sample) -> tuple[tuple[int | None, ...], bytes]:
        """Give the values of a sample at `t` ms in whole steps, and a quality mark for each."""
        steps = tuple(
            [
                round(v * scale) if v is not None and -_HUGE < v < _HUGE else None
                for v, scale in zip(sample.values, self._scales, strict=True)
            ]
        )
        whole = self._whole(t, sample, steps)
        if whole:
            return steps, bytes([whole]) * len(steps)
        return steps, self._each(steps)

    def _whole(self, t: int, sample: Sample, steps: tuple[int | None, ...]) -> Quality:
        """Judge the sample as a whole."""
        if steps != self._same:
            self._same, self._same_since = steps, t
        if t < self.warm_until:
            return Quality.WARMING_UP
        if sample.fault:
            return Quality.FAILED
        if self._kind.optical and t - self._same_since >= STUCK_AFTER_MS and any(steps):
            return Quality.STUCK
        return Quality.GOOD

    def _each(self, steps: tuple[int | None, ...]) -> bytes:
        fine = all(
            s is not None and low <= s <= high
            for s, (low, high) in zip(steps, self._ranges, strict=True)
        )
        marks = self._good if fine else bytes(map(_range_mark, steps, self._ranges))
        return self._disordered(steps, marks)

    def _disordered(self, steps: tuple[int | None, ...], marks: bytes) -> bytes:
        for chain in self._chains:
            for inner, outer in chain:
                a, b = steps[inner], steps[outer]
                if a is None or b is None or a <= b:
                    continue
                if a > b * _SLACK + _SLACK_UNITS * self._scales[inner]:
                    marks = _marked(marks, (inner, outer), Quality.INCONSISTENT)
        return marks


def _places(chain: Sequence[str], quantities: tuple[str, ...]) -> list[tuple[int, int]]:
    """Pair the places of the chain's neighbours among a part's quantities."""
    places = [quantities.index(name) for name in chain if name in quantities]
    return list(pairwise(places))


def _range_mark(step: int | None, limits: tuple[float, float]) -> int:
    if step is None:
        return Quality.FAILED
    return Quality.GOOD if limits[0] <= step <= limits[1] else Quality.OUT_OF_RANGE


def _marked(marks: bytes, places: tuple[int, int], mark: Quality) -> bytes:
    changed = bytearray(marks)
    for place in places:
        changed[place] = changed[place] or mark
    return bytes(changed)
