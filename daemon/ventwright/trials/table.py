"""Test prints from a file of times and levels: somebody's chamber, or a build-up out of a book.

Knows no store. Times are minutes unless told otherwise, levels in any one unit.
"""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from ventwright.commissioning.columns import ColumnsError, read_columns
from ventwright.mixing.curve import Fit, Points
from ventwright.mixing.fitting import fit
from ventwright.mixing.shapes import SHAPES
from ventwright.standards.distributions import t_quantile
from ventwright.trials.balance import Given, Rate, balance
from ventwright.trials.figures import Figure
from ventwright.trials.series import Minute, Series, Span, half_width

PER_HOUR = {"s": 3600.0, "min": 60.0, "h": 1.0}
_FEWEST = 5
"""Points of a decay with which a loss rate is told, its interval with it."""

_GIVEN = "given by hand"


class TableError(ValueError):
    """A file that cannot be used; the text is one clear sentence."""


class Found(NamedTuple):
    """What a file came to; amounts are in the unit of the levels times m³."""

    rate: Figure
    """Emitted an hour while it ran."""
    total: Figure | None
    """Emitted in all; None for a build-up, whose end is not seen."""
    loss_rate: Figure
    steady: float | None
    """The rise that a build-up would end at."""
    r2: float | None


def read_levels(path: Path, unit: str) -> tuple[list[float], list[float]]:
    """Read times (h) and levels of a CSV file with two columns; raises TableError.

    Names above the numbers, decimal commas beside semicolons and dates as times are understood.
    """
    try:
        found = read_columns(path)
    except ColumnsError as error:
        raise TableError(str(error)) from error
    per_hour = 1.0 if found.dates else PER_HOUR[unit]
    first = 0.0 if found.dates else found.zero
    times = [(t + first) / per_hour for t in found.times]
    if len(times) < 4:
        raise TableError(f"{path} holds {len(times)} points; at least 4 are needed")
    if twice := next((t for t, u in pairwise(times) if t == u), None):
        raise TableError(
            f"{path} holds the time {twice * per_hour:g} twice; one level each is needed"
        )
    return times, found.values


def build_up(
    times: Sequence[float],
    levels: Sequence[float],
    volume: float,
    background: float,
    known: Rate | None = None,
) -> Found:
    """Take all points as the build-up of a steady source from time 0; raises TableError.

    C = background + E/(V·k)·(1 - exp(-k·t)), so E = V·k·a: limits.md section 6. `known`: k.
    """
    if known is not None:
        return _build_up_at(times, [level - background for level in levels], volume, known)
    points = Points(times, levels, [1.0] * len(times))
    try:
        found = fit(SHAPES["build-up"], points, background)
    except ValueError as error:
        raise TableError(f"no build-up could be fitted: {error}") from error
    a, k = found.amplitudes[0], found.rates[0]
    (aa, ak), (_, kk) = found.covariance[0][:2], found.covariance[1][:2]
    off = math.sqrt(max(0.0, k * k * aa + a * a * kk + 2 * a * k * ak))
    rate = _figure(volume * a * k, volume * off, found)
    return Found(rate, None, _figure(k, math.sqrt(kk), found), a, found.r2)


def _build_up_at(
    times: Sequence[float], rises: Sequence[float], volume: float, known: Rate
) -> Found:
    """Fit E/V alone: C = E/V·g(t) with g = (1 - exp(-k·t))/k, by least squares."""
    emitted, standard, r2 = _proportion(_filled(times, known.value), rises)
    moved, _, _ = _proportion(_filled(times, known.value + known.error), rises)
    half = standard * t_quantile(0.95, len(rises) - 1)
    off = moved - emitted
    whole = volume * math.hypot(half, half_width(off))
    rate = Figure(
        volume * emitted,
        "",
        volume * emitted - whole,
        volume * emitted + whole,
        volume * math.hypot(standard, off),
    )
    loss = Figure(
        known.value, "", known.value - known.half, known.value + known.half, known.error, why=_GIVEN
    )
    return Found(rate, None, loss, emitted / known.value, r2)


def _filled(times: Sequence[float], k: float) -> list[float]:
    return [-math.expm1(-k * t) / k for t in times]


def _proportion(
    shape: Sequence[float], values: Sequence[float]
) -> tuple[float, float, float | None]:
    """Fit values = a·shape; gives a, its standard error and R²."""
    size = math.fsum(x * x for x in shape)
    if not size:
        raise TableError("no point lies after the source began at time 0")
    a = math.fsum(x * y for x, y in zip(shape, values, strict=True)) / size
    left = math.fsum((y - a * x) ** 2 for x, y in zip(shape, values, strict=True))
    middle = math.fsum(values) / len(values)
    total = math.fsum((y - middle) ** 2 for y in values)
    return a, math.sqrt(left / (len(values) - 1) / size), 1 - left / total if total else None


def _figure(value: float, standard: float, found: Fit) -> Figure:
    half = standard * t_quantile(0.95, found.freedom) if found.freedom > 0 else math.inf
    return Figure(value, "", value - half, value + half, standard)


class Phases(NamedTuple):
    """When a print began and ended, h."""

    begins: float
    ends: float


def whole_print(
    times: Sequence[float],
    levels: Sequence[float],
    phases: Phases,
    volume: float,
    known: Mapping[bool, Rate],
    background: float | None = None,
) -> Found:
    """Take background, print and decay from the points; raises TableError.

    `background`: its level, where it is known. Of fewer than three points before the print the
    mean is taken for it, without an error of its own.
    """
    if background is not None and phases.begins < times[0]:
        times, levels = [phases.begins, *times], [background, *levels]
    edges = [(a + b) / 2 for a, b in pairwise(times)]
    edges = [2 * times[0] - edges[0], *edges, 2 * times[-1] - edges[-1]]
    begins, ends = phases
    if not (edges[0] <= begins < ends <= edges[-1] and begins < times[-1]):
        raise TableError(
            "the print must begin and end within the times of the file; with --background it may "
            "begin before the first"
        )
    if not any(begins < t < ends for t in times):
        raise TableError("no point lies within the print")
    if ends >= times[-1]:
        edges[-1] = ends
    before = [level for t, level in zip(times, levels, strict=True) if t < begins]
    level = _level(before) if background is None else background
    rows = zip(pairwise(edges), times, levels, strict=True)
    minutes = [Minute(*both, level, False, t) for both, t, level in rows]
    ground = Span(min(edges[0], begins), begins)
    series = Series(minutes, ground, Span(begins, ends), Span(ends, edges[-1]), 0.0)
    try:
        made = balance(series, 0.0, known, not known, given=Given(level, _FEWEST))
    except ValueError as error:
        raise TableError(f"the emission cannot be told: {error}") from error
    total = Figure(
        volume * made.emitted,
        "",
        volume * (made.emitted - made.half),
        volume * (made.emitted + made.above),
        volume * made.error,
    )
    rate = made.rates[False]
    loss = Figure(
        rate.value, "", rate.value - rate.half, rate.value + rate.half, rate.error, why=rate.source
    )
    r2 = made.decay.r2 if made.decay else None
    return Found(_over(total, ends - begins), total, loss, None, r2)


def _level(before: Sequence[float]) -> float | None:
    """Give the background of fewer than three points; None where they tell its error, too."""
    if not before:
        raise TableError("no point lies before the print: tell the background with --background")
    return None if len(before) > 2 else math.fsum(before) / len(before)


def _over(total: Figure, hours: float) -> Figure:
    parts = (total.value, total.low, total.high, total.standard)
    value, low, high, standard = (None if part is None else part / hours for part in parts)
    return Figure(value, "", low, high, standard)


def given(rate: float | None, error: float) -> dict[bool, Rate]:
    """Make a known loss rate of what was given by hand, or none."""
    if rate is None:
        return {}
    return {False: Rate(rate, error, half_width(error), _GIVEN)}
