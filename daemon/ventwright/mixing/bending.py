"""Sees in a fitted decay that it is none: it bends, or something happened on the way.

Knows a fit, no room. What is not one exponential is told by its first part against the rest, and
by stretches that lie off the curve together.
"""

from math import fsum, log, sqrt

from ventwright.mixing.curve import Fit, Points
from ventwright.mixing.doubt import doubt
from ventwright.mixing.fitting import fit

_STRETCHES = 8
_SURE = 3.5
"""Standard errors beyond which the two parts differ."""
_NOTABLE = 0.2
"""The share of the rate by which they must differ to matter."""
_FEWEST = 8
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
    if abs(apart) > max(_SURE * unsure, _NOTABLE * found.rates[0]):
        return _said(early.rates[0] / hours, late.rates[0] / hours)
    return _bump(found, hours)


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
