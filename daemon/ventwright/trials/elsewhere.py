"""The same print in another room, well mixed: same emission, other volume and losses."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ventwright.mixing.zone import rise_after
from ventwright.trials.figures import Elsewhere, Figure, RatePoint

if TYPE_CHECKING:
    from ventwright.trials.printing import Known

_HOUR_MS = 3_600_000


def elsewhere(total: Figure, points: Sequence[RatePoint], about: "Known") -> Elsewhere | None:
    """Let the emission rates over the print run in the other room; None unless one is asked for."""
    if about.other_room is None:
        return None
    volume, loss_rate = about.other_room
    unit = about.quantity.unit
    if total.value is None:
        gone = Figure(None, unit, why=total.why)
        return Elsewhere(volume, loss_rate, gone, gone)
    marks = about.trial.marks
    peak, mean = _course(total.value, points, (marks["print"], marks["decay"]), volume, loss_rate)
    return Elsewhere(volume, loss_rate, _like(total, peak, unit), _like(total, mean, unit))


def _course(
    total: float,
    points: Sequence[RatePoint],
    span: tuple[int, int],
    volume: float,
    loss_rate: float,
) -> tuple[float, float]:
    """Give highest and mean rise; the shape is that of the rates, the sum that of the balance."""
    during = [p for p in points if span[0] <= p.t < span[1]]
    hours = (span[1] - span[0]) / _HOUR_MS
    shape = math.fsum(p.rate * p.length for p in during) / _HOUR_MS
    if not during or shape <= 0:
        rise = rise_after(hours, volume, loss_rate, total / hours)
        return rise, rise_after(hours / 2, volume, loss_rate, total / hours)
    rise, course = 0.0, []
    for point in during:
        step = point.length / _HOUR_MS
        rise = rise_after(step, volume, loss_rate, point.rate * total / shape, rise)
        course.append(rise)
    return max(course), math.fsum(course) / len(course)


def _like(total: Figure, value: float, unit: str) -> Figure:
    """Give a figure with the relative interval of the total."""
    if not total.value:
        return Figure(value, unit)
    scale = value / total.value

    def part(end: float | None) -> float | None:
        return None if end is None else end * scale

    ends = (part(total.low), part(total.high), part(total.standard), part(total.below))
    return Figure(value, unit, *ends)
