"""Judges every value of a part's samples: whole steps and a quality mark each.

Knows one part; knows no mean, no alarm and no other part.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType
from typing import NamedTuple

from ventwright.quality.gate import Gate
from ventwright.quality.marks import Quality
from ventwright_drivers.part import Sample
from ventwright_drivers.quantities import QUANTITIES

STUCK_AFTER_MS = 10 * 60_000
"""A live optical part never repeats what it sees for so long."""

ZERO_STUCK_AFTER_MS = 24 * 3_600_000
"""Where it tells mass alone, air can be so clean that it rounds to zero all night, but not all day.

A part that counts them from 0.3 µm sees some particles in the air of any room: its zeros are no
exception.
"""

_ORDERED = (
    ("pm1", "pm2_5", "pm4", "pm10"),
    ("n10", "n5", "n2_5", "n1", "n0_5", "n0_3"),
)
"""Quantities of which each includes the one before it."""

_RESTS = 10
"""Rests over which a part may wake to the same air and not be stuck."""

_HUGE = 1e12

_SLACK = 1.1
_SLACK_UNITS = {"µg/m³": 2.0, "1/cm³": 0.1}


class PartKind(NamedTuple):
    """What the core must know of a part's driver."""

    model: str
    quantities: tuple[str, ...]
    period: int
    silence: int
    warm_up: int
    optical: bool
    settle: Mapping[str, int] = MappingProxyType({})
    """Warm-up of quantities that take longer than the part, ms."""
    rest: int = 0
    """For how long at a time the part rests between measurements, ms."""
    laser_hours: int | None = None
    """The published life of its laser, hours of light."""
    checked: bool = True
    """False where the wire has no checksum."""
    calm: float = 0.0
    """Up to this value, as up to zero, an optical part may show the same for hours."""

    @property
    def pace(self) -> int:
        """The time between good readings in ordinary use, ms: a rest and a warm-up included."""
        return self.period + (self.rest + self.warm_up if self.rest else 0)


class Judge:
    """The judge of one part's samples."""

    def __init__(self, kind: PartKind, kept: tuple[str, ...] | None = None) -> None:
        """Start cold: everything is warming up until `begin`. `kept`: what is wanted, or all."""
        self._kind = kind
        kept = kind.quantities if kept is None else kept
        self._names = kept
        quantities = [QUANTITIES[name] for name in kept]
        self._count = len(kind.quantities)
        self._kept = [kind.quantities.index(name) for name in kept]
        self._scales = [q.per_unit for q in quantities]
        self._ranges = [(q.lowest * q.per_unit, q.highest * q.per_unit) for q in quantities]
        self._pairs = [pair for chain in _ORDERED for pair in _places(chain, kept)]
        self._slacks = [_SLACK_UNITS.get(q.unit, 0.0) * q.per_unit for q in quantities]
        self._seen = tuple(place for place, name in enumerate(kept) if _is_seen(name))
        self._good = bytes(len(quantities))
        self._gate = None if kind.checked else Gate(kept)
        self.warm_until = 1 << 62
        """When the part will have warmed up, ms."""
        self._begun = 0
        self._settled = 1 << 62
        self._seeing = _Repeating(kind, optical=True)
        self._telling = _Repeating(kind, optical=False)

    def begin(self, t: int) -> None:
        """The part was started at `t` ms."""
        self.warm_until = t + self._kind.warm_up
        self._begun = t
        self._gate = None if self._kind.checked else Gate(self._names)
        self._settled = max([self.warm_for(name) for name in self._names])

    def warm_for(self, name: str) -> int:
        """Tell when a quantity will have warmed up, ms: with the part, or later."""
        return max(self.warm_until, self._begun + self._kind.settle.get(name, 0))

    def judge(self, t: int, sample: Sample) -> tuple[tuple[int | None, ...], bytes]:
        """Give the kept values at `t` ms in whole steps, and a quality mark for each.

        Raises ValueError or TypeError if the sample is not what the part's kind promises.
        """
        values = sample.values
        if len(values) != self._count:
            raise ValueError(f"{self._count} values are due, {len(values)} came")
        steps = tuple(
            [
                round(v * scale)
                if (v := values[place]) is not None and -_HUGE < v < _HUGE
                else None
                for place, scale in zip(self._kept, self._scales, strict=True)
            ]
        )
        if whole := self._whole(t, sample):
            return steps, bytes([whole]) * len(steps)
        marks = self._each(steps)
        if sample.fault or t < self._settled:
            marks = self._excepted(t, sample, marks)
        if self._seeing.stuck(t):
            marks = _marked(marks, self._seen, Quality.STUCK)
        if self._gate is not None:
            for place in self._gate.doubts(t, steps, marks):
                marks = _marked(marks, (place,), Quality.INCONSISTENT)
        return steps, marks

    def _excepted(self, t: int, sample: Sample, marks: bytes) -> bytes:
        """Mark what a fault of a part of the part concerns, and what is still warming up."""
        failed = sample.failed if sample.fault and sample.failed else ()
        warming = {name for name in self._names if t < self.warm_for(name)}
        changed = bytearray(marks)
        for place, name in enumerate(self._names):
            if name in failed:
                changed[place] = Quality.FAILED
            elif name in warming:
                changed[place] = Quality.WARMING_UP
        return bytes(changed)

    def _whole(self, t: int, sample: Sample) -> Quality:
        """Judge the sample as a whole."""
        self._seeing.follow(t, sample)
        self._telling.follow(t, sample)
        if t < self.warm_until:
            return Quality.WARMING_UP
        if sample.fault and sample.failed is None:
            return Quality.FAILED
        return Quality.STUCK if self._telling.stuck(t) else Quality.GOOD

    def _each(self, steps: tuple[int | None, ...]) -> bytes:
        marks = self._good
        for step, (low, high) in zip(steps, self._ranges, strict=True):
            if step is None or not low <= step <= high:
                marks = bytes(map(_range_mark, steps, self._ranges))
                break
        return self._disordered(steps, marks)

    def _disordered(self, steps: tuple[int | None, ...], marks: bytes) -> bytes:
        for inner, outer in self._pairs:
            a, b = steps[inner], steps[outer]
            if a is None or b is None or a <= b:
                continue
            if a > b * _SLACK + self._slacks[inner]:
                marks = _marked(marks, (inner, outer), Quality.INCONSISTENT)
        return marks


class _Repeating:
    """Whether an optical part repeats its values: all of them, or those that its laser sees."""

    def __init__(self, kind: PartKind, optical: bool) -> None:
        self._places = [n for n, name in enumerate(kind.quantities) if _is_seen(name)]
        self._all = not optical or len(self._places) == len(kind.quantities)
        self._wanted = kind.optical and (not optical or not self._all)
        names = kind.quantities if self._all else [kind.quantities[n] for n in self._places]
        self._finest = names.index("n0_3") if "n0_3" in names else None
        rests = _RESTS * kind.rest
        self._after = STUCK_AFTER_MS + rests
        self._zero_after = ZERO_STUCK_AFTER_MS + rests
        self._calm = kind.calm
        self._same: tuple[float | None, ...] = ()
        self._since = 0

    def follow(self, t: int, sample: Sample) -> None:
        """Take a sample at `t` ms."""
        if not self._wanted:
            return
        values = sample.values
        if not self._all:
            values = tuple([values[place] for place in self._places])
        if values != self._same:
            self._same, self._since = values, t

    def stuck(self, t: int) -> bool:
        """Tell whether they have stood still for longer than air does, at `t` ms."""
        if not self._wanted:
            return False
        stood = t - self._since
        if stood < self._after:
            return False
        if stood >= self._zero_after:
            return True
        calm, finest = self._calm, self._finest
        counted = finest is not None and self._same[finest] is not None and not calm
        return counted or any(v is not None and v > calm for v in self._same)


def _is_seen(name: str) -> bool:
    return name.startswith("pm") or QUANTITIES[name].unit == "1/cm³"


def _places(chain: Sequence[str], quantities: tuple[str, ...]) -> list[tuple[int, int]]:
    """Pair the places of the chain's neighbours among a part's quantities."""
    places = [quantities.index(name) for name in chain if name in quantities]
    return list(pairwise(places))


def _range_mark(step: int | None, limits: tuple[float, float]) -> int:
    if step is None:
        return Quality.FAILED
    return Quality.GOOD if limits[0] <= step <= limits[1] else Quality.OUT_OF_RANGE


def _marked(marks: bytes, places: tuple[int, ...], mark: Quality) -> bytes:
    changed = bytearray(marks)
    for place in places:
        changed[place] = changed[place] or mark
    return bytes(changed)
