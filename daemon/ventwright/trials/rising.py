"""Rise of a print over its start, less what the background did in the same time, and the floor.

The floor is the smallest rise of a 5-minute mean that the part could show here: three of its
standard deviations in the background, but not less than half the step in which it tells values.
"""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from ventwright.trials.background import Background, fit_background
from ventwright.trials.balance import Balance
from ventwright.trials.figures import Figure
from ventwright.trials.series import Minute, Series, Span, half_width

if TYPE_CHECKING:
    from ventwright.trials.printing import Known

PEAK_MINUTES = 5
_AFTER_H = 5 / 60
"""The peak is looked for until so long after the print: the part lags."""

_SIGMAS = 3


class Rising(NamedTuple):
    """Level at the start, rises, and the floor; channel's unit."""

    start: Figure
    rise: Figure
    mean_rise: Figure
    floor: float


def rising(series: Series, made: Balance | None, about: "Known") -> Rising:
    """Give rise and mean rise; where the background is not known they say so."""
    unit = about.quantity.unit
    ground = made.background if made else _alone(series, about.within)
    if ground is None:
        gone = Figure(None, unit, why="the background phase has no good readings")
        return Rising(gone, gone, gone, series.step)
    begin = series.print.begins
    start = ground.at(begin)
    start_error = _start_error(ground, series)
    over = [_over(m, ground) for m in _printing(series)]
    noise = made.noise.at if made else (lambda _: ground.noise)
    grown = min(made.noise.alike if made else ground.alike, PEAK_MINUTES)
    floor = max(series.step / 2, _SIGMAS * ground.noise * math.sqrt(grown / PEAK_MINUTES))
    peak = max((_mean(over[n : n + PEAK_MINUTES]) for n in _starts(over)), default=None)
    printed = series.within(series.print)
    mean = _mean([_over(m, ground) for m in printed]) if printed else None
    few = math.sqrt(grown / PEAK_MINUTES)
    many = math.sqrt(min(grown, len(printed)) / max(1, len(printed)))
    level = noise(start + (peak or 0.0))
    return Rising(
        _figure(start, start_error, unit, 0.0),
        _figure(peak, math.hypot(start_error, level * few), unit, floor),
        _figure(mean, math.hypot(start_error, level * many), unit, floor),
        floor,
    )


def _alone(series: Series, within: float) -> Background | None:
    """Fit the background without knowing the loss rate, where there is no balance."""
    span = series.background
    try:
        return fit_background(series.within(span), span.begins, 1.0, within, series.step)
    except ValueError:
        return None


def _start_error(ground: Background, series: Series) -> float:
    kept = math.exp(-ground.rate * series.background.hours)
    moved = ground.moved().at(series.print.begins) - ground.at(series.print.begins)
    return math.hypot(moved, ground.lead_error * kept)


def _printing(series: Series) -> list[Minute]:
    span = Span(series.print.begins, min(series.decay.ends, series.print.ends + _AFTER_H))
    return series.within(span)


def _over(minute: Minute, ground: Background) -> float:
    """Take start and background's own course from a minute: that is, the background then."""
    return minute.mean - ground.at(minute.middle)


def _starts(over: Sequence[float]) -> range:
    return range(len(over) - PEAK_MINUTES + 1)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _figure(value: float | None, error: float, unit: str, floor: float) -> Figure:
    if value is None:
        return Figure(None, unit, why="good readings are too few")
    half = half_width(error)
    bound = max(floor, value + half) if value < floor else None
    return Figure(value, unit, value - half, value + half, error, bound)
