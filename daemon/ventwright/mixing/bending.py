"""Sees in a fitted decay that it is none: it bends, or something happened on the way.

Knows a fit, no room. What is not one exponential is told by its first part against the rest, and
by stretches that lie off the curve together.
"""

from math import exp, fsum, log, sqrt

from ventwright.mixing.curve import Fit, Points
from ventwright.mixing.doubt import doubt, doubt_of
from ventwright.mixing.fitting import fit
from ventwright.mixing.linear import Column, SingularError, inverse_square, solve

_STRETCHES = 8
_SURE = 3.5
"""Standard errors beyond which the two parts differ."""
_NOTABLE = 0.1
"""The share of the rate by which they must differ to matter."""
_FEWEST = 8
_TINY = 1e-6  # of the rise: a background that was given without an error stays where it is
_FAR = 0.05
"""The share of the rise by which a stretch must lie off."""


def bend(found: Fit, background_error: float = 0.0, hours: float = 1.0) -> str:
    """Say in a sentence how a decay bends, or nothing; `hours` is the unit of its times."""
    parts = _parts(found)
    if parts is None:
        return ""
    early, late = parts
    apart = late.rates[0] - early.rates[0]
    unsure = sqrt(_error(early) ** 2 + _error(late) ** 2 + _leaning(late, background_error) ** 2)
    sure = abs(apart) > _SURE * unsure or abs(_curvature(found, background_error)) > _SURE
    if sure and abs(apart) > _NOTABLE * found.rates[0]:
        return _said(early.rates[0] / hours, late.rates[0] / hours)
    return _bump(found, hours)


def _curvature(found: Fit, background_error: float) -> float:
    """Tell by how many standard errors the rate itself changes with time, over all of the decay.

    One term more, t² exp(-k t), takes up what a single rate leaves over; the error is judged from
    what is left then, so that a bend does not pass for slow noise. A background that was given is
    let move by its error.
    """
    rows = sorted(zip(*found.points, found.residuals, strict=True))
    slopes = [_row(found, t, s) for t, _, s, _ in rows]
    columns = [list(column) for column in zip(*slopes, strict=True)]
    off = [r / s for *_, s, r in rows]
    if not found.free:
        columns.append([1 / s for *_, s, _ in rows])
        for column in columns:
            column.append(0.0)
        columns[-1][-1] = found.deviation / max(background_error, _TINY * abs(found.amplitudes[0]))
        off.append(0.0)
    try:
        changes, triangle = solve(columns, off)
    except SingularError:
        return 0.0
    left = _left(columns, off, changes)[: len(rows)]
    scale = fsum(r * r for r in left) / max(1, len(left) - len(columns))
    error = sqrt(scale * inverse_square(triangle)[0][0]) * doubt_of(left, len(columns)).widened
    return changes[0] / error if error else 0.0


def _row(found: Fit, t: float, spread: float) -> list[float]:
    """Give how a weighted point changes with curvature, amplitude, rate and a free background."""
    fall = exp(-found.rates[0] * t)
    last = [1.0] if found.free else []
    row = [t * t * fall, fall, -t * found.amplitudes[0] * fall, *last]
    return [value / spread for value in row]


def _left(columns: list[Column], off: Column, changes: Column) -> Column:
    rows = zip(off, *columns, strict=True)
    return [r - fsum(c * x for c, x in zip(changes, row, strict=True)) for r, *row in rows]


def _parts(found: Fit) -> tuple[Fit, Fit] | None:
    """Fit what is before and after the middle, or the time in which 70 % is gone."""
    middle = min(found.points.span / 2, log(1 / 0.3) / found.rates[0])
    rows = list(zip(*found.points, strict=True))
    early = [row for row in rows if row[0] <= middle]
    late = [row for row in rows if row[0] > middle]
    if min(len(early), len(late)) < _FEWEST:
        return None
    try:
        return _fitted(found, early), _fitted(found, late)
    except ValueError:
        return None


def _fitted(found: Fit, rows: list[tuple[float, float, float]]) -> Fit:
    times, values, spreads = zip(*rows, strict=True)
    points = Points([t - times[0] for t in times], values, spreads)
    start = found._replace(amplitudes=[found.shape.value(times[0], found.amplitudes, found.rates)])
    return fit(found.shape, points, found.background, start)


def _error(part: Fit) -> float:
    return doubt(part).widened * part.error("k")


def _leaning(late: Fit, background_error: float) -> float:
    if not background_error:
        return 0.0
    moved = fit(late.shape, late.points, late.background + background_error, late)
    return abs(moved.rates[0] - late.rates[0])


def _said(early: float, late: float) -> str:
    rates = f"({early:.3g} /h, then {late:.3g} /h)"
    if late < early:
        return (
            f"it falls more slowly later than at first {rates}: something still emits, the air "
            "was not mixed, or the background has risen"
        )
    return (
        f"it falls faster later than at first {rates}: the source was not quite over, the air "
        "was not mixed, or a door or window was opened"
    )


def _bump(found: Fit, hours: float) -> str:
    """Find a stretch of time that lies off the curve, far beyond what points scatter by."""
    count = len(found.residuals) // _STRETCHES
    if count < _FEWEST:
        return ""
    scatter = sqrt(fsum((b - a) ** 2 for a, b in _neighbours(found)) / 2 / len(found.residuals))
    stretches = range(0, count * _STRETCHES, count)
    means = [(abs(fsum(found.residuals[n : n + count])) / count, n) for n in stretches]
    off, first = max(means)
    if off <= max(_FAR * abs(found.amplitudes[0]), 6 * scatter / sqrt(count)):
        return ""
    minutes = 60 * hours * found.points.times[first + count // 2]
    return f"something happened about {minutes:.0f} min into it: a door, a window, a source"


def _neighbours(found: Fit) -> list[tuple[float, float]]:
    return list(zip(found.residuals, found.residuals[1:], strict=False))
