"""Test prints from a file of times and levels: somebody's chamber, or a build-up out of a book.

Knows no store. Times are minutes unless told otherwise, levels in any one unit.
"""

import csv
import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from ventwright.mixing.curve import Fit, Points
from ventwright.mixing.fitting import fit
from ventwright.mixing.shapes import SHAPES
from ventwright.standards.distributions import t_quantile
from ventwright.trials.balance import Rate, balance
from ventwright.trials.figures import Figure
from ventwright.trials.series import Minute, Series, Span, half_width

PER_HOUR = {"s": 3600.0, "min": 60.0, "h": 1.0}
_MOST_LETTERS = 1 << 22


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

    A first line that holds no number is a header. Times must rise.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")[:_MOST_LETTERS]
    except (OSError, UnicodeDecodeError) as error:
        raise TableError(f"{path} cannot be read: {error}") from error
    mark = max(",;\t", key=text.partition("\n")[0].count)
    times: list[float] = []
    levels: list[float] = []
    for line, row in enumerate(csv.reader(text.splitlines(), delimiter=mark), 1):
        if not any(map(str.strip, row)) or (line == 1 and not _numbers(row)):
            continue
        if (pair := _numbers(row)) is None:
            raise TableError(f"{path}, line {line}: a time and a level are needed, both numbers")
        if times and pair[0] / PER_HOUR[unit] <= times[-1]:
            raise TableError(f"{path}, line {line}: times must rise")
        times.append(pair[0] / PER_HOUR[unit])
        levels.append(pair[1])
    if len(times) < 4:
        raise TableError(f"{path} holds {len(times)} points; at least 4 are needed")
    return times, levels


def _numbers(row: Sequence[str]) -> tuple[float, float] | None:
    try:
        first, second = float(row[0]), float(row[1])
    except (ValueError, IndexError):
        return None
    return (first, second) if math.isfinite(first) and math.isfinite(second) else None


def build_up(
    times: Sequence[float], levels: Sequence[float], volume: float, background: float
) -> Found:
    """Take all points as the build-up of a steady source from time 0; raises TableError.

    C = background + E/(V·k)·(1 - exp(-k·t)), so E = V·k·a: limits.md section 6.
    """
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
) -> Found:
    """Take background, print and decay from the points; raises TableError."""
    edges = [(a + b) / 2 for a, b in pairwise(times)]
    edges = [2 * times[0] - edges[0], *edges, 2 * times[-1] - edges[-1]]
    spans = zip(pairwise(edges), levels, strict=True)
    minutes = [Minute(begins, ends, level) for (begins, ends), level in spans]
    begins, ends = phases
    if not edges[0] < begins < ends < edges[-1]:
        raise TableError("the print must begin after the first point and end before the last")
    span = Span(begins, ends)
    series = Series(minutes, Span(edges[0], begins), span, Span(ends, edges[-1]), 0.0)
    try:
        made = balance(series, 0.0, known, not known)
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
    loss = Figure(rate.value, "", rate.value - rate.half, rate.value + rate.half, rate.error)
    r2 = made.decay.r2 if made.decay else None
    return Found(_over(total, span.hours), total, loss, None, r2)


def _over(total: Figure, hours: float) -> Figure:
    parts = (total.value, total.low, total.high, total.standard)
    value, low, high, standard = (None if part is None else part / hours for part in parts)
    return Figure(value, "", low, high, standard)


def given(rate: float | None, error: float) -> dict[bool, Rate]:
    """Make a known loss rate of what was given by hand, or none."""
    if rate is None:
        return {}
    return {False: Rate(rate, error, half_width(error), "given by hand")}
