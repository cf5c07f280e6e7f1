"""Fits a shape to points by nonlinear least squares, from guesses that the points give.

Plain Python. Method: rates are tried over a net that the times span, amplitudes by linear least
squares (variable projection); the best few are refined by damped Gauss-Newton steps (Levenberg,
Marquardt) on all parameters, solved by reflections. Knows no room.
Checked against the certified values of NIST StRD (Misra1a, Lanczos1 to 3) and FOCUS 2006.
"""

from itertools import combinations
from math import exp, fsum, inf, isfinite, log, sqrt
from typing import NamedTuple

from ventwright.mixing.curve import Fit, FitError, Points
from ventwright.mixing.linear import Column, SingularError, inverse_square, solve
from ventwright.mixing.shapes import Shape

_NET = 18
"""Rates tried, evenly by ratio, between a fifth of the span's and three times the first gap's."""
_REFINED = (1, 4, 4)
"""How many starts are gone down from, by how many rates there are."""
_STEPS = 500
_ROUNDING = 1e-15
"""The share of a sum of squares that is no more than rounding."""
_COARSE = 240
"""Points that a net is tried on; more are thinned out for that, and for the first way down."""


class _Trial(NamedTuple):
    rss: float
    amplitudes: Column
    rates: Column
    background: float


class _Task(NamedTuple):
    """What is fitted: fixed is the background, or None where it is free."""

    shape: Shape
    points: Points
    fixed: float | None

    def trial(self, amplitudes: Column, rates: Column, background: float) -> _Trial:
        """Take these parameters and see how far the points are off."""
        try:
            off = self.off(amplitudes, rates, background)
            rss = fsum(r * r for r in off)
        except (OverflowError, ValueError, ZeroDivisionError):
            rss = inf
        return _Trial(rss if isfinite(rss) else inf, amplitudes, rates, background)

    def off(self, amplitudes: Column, rates: Column, background: float) -> Column:
        """Give the weighted residuals; raises SingularError where the curve is no number."""
        rows, value = zip(*self.points, strict=True), self.shape.value
        try:
            return [(y - background - value(t, amplitudes, rates)) / s for t, y, s in rows]
        except (ArithmeticError, ValueError) as error:
            raise SingularError from error

    def projected(self, rates: Column) -> _Trial:
        """Give the best amplitudes for these rates; raises SingularError."""
        spreads = self.points.spreads
        terms = [self.shape.terms(t, rates) for t in self.points.times]
        columns = [
            [row[n] / s for row, s in zip(terms, spreads, strict=True)]
            for n in range(len(self.shape.amplitudes))
        ]
        if self.fixed is None:
            columns.append([1 / s for s in spreads])
        known = self.fixed or 0.0
        values = [(y - known) / s for y, s in zip(self.points.values, spreads, strict=True)]
        found, _ = solve(columns, values)
        background = found.pop() if self.fixed is None else known
        return self.trial(found, rates, background)

    def columns(self, at: _Trial) -> list[Column]:
        """Give how each weighted point changes with each parameter; raises SingularError."""
        try:
            rows = [self._row(t, s, at) for t, _, s in zip(*self.points, strict=True)]
        except (ArithmeticError, ValueError) as error:
            raise SingularError from error
        return [list(column) for column in zip(*rows, strict=True)]

    def _row(self, t: float, spread: float, at: _Trial) -> Column:
        slopes = self.shape.slopes(t, at.rates)
        by_rate = [
            fsum(a * row[n] for a, row in zip(at.amplitudes, slopes, strict=True))
            for n in range(len(at.rates))
        ]
        last = [1.0] if self.fixed is None else []
        return [value / spread for value in (*self.shape.terms(t, at.rates), *by_rate, *last)]

    def moved(self, at: _Trial, step: Column) -> _Trial:
        """Go a step in all parameters."""
        most = len(at.amplitudes), len(at.amplitudes) + len(at.rates)
        amplitudes = [a + d for a, d in zip(at.amplitudes, step[: most[0]], strict=True)]
        rates = [k + d for k, d in zip(at.rates, step[most[0] : most[1]], strict=True)]
        background = at.background + (step[-1] if self.fixed is None else 0.0)
        return self.trial(amplitudes, rates, background)


def fit(
    shape: Shape, points: Points, background: float | None = 0.0, near: Fit | None = None
) -> Fit:
    """Fit a shape, with the background as given or free (None).

    `near` is a fit that this one will resemble, which spares looking for a start.
    Raises FitError, a sentence, where there are too few points or the points do not
    determine the parameters.
    """
    task = _Task(shape, points, background)
    wanted, times = len(shape.amplitudes) + len(shape.rates) + (background is None), set(points[0])
    if len(times) < wanted:
        at = "1 time" if len(times) == 1 else f"{len(times)} times"
        raise FitError(
            f"{len(points.values)} points at {at} are too few for the {wanted} parameters "
            f"of {shape.name}"
        )
    try:
        start = _start(task) if near is None else _Trial(0.0, *_like(near, background))
        return _finished(task, _refined(task, start))
    except (ArithmeticError, SingularError) as error:
        raise FitError(
            f"the points do not tell the {wanted} parameters of {shape.name} apart"
        ) from error


def _like(near: Fit, background: float | None) -> tuple[Column, Column, float]:
    return near.amplitudes, near.rates, near.background if background is None else background


def _start(task: _Task) -> _Trial:
    """Try a net of rates on few points and go down from the best of them; returns the lowest."""
    thinned = task._replace(points=_thinned(task.points))
    found = []
    for rates in _net(task.shape, task.points):
        try:
            found.append(thinned.projected(list(rates)))
        except (ArithmeticError, SingularError):
            continue
    best = sorted(found)[: _REFINED[len(task.shape.rates) - 1]]
    if not best:
        raise SingularError
    return min(_refined(thinned, start) for start in best)


def _thinned(points: Points) -> Points:
    step = max(1, len(points.values) // _COARSE)
    return Points(points.times[::step], points.values[::step], points.spreads[::step])


def _net(shape: Shape, points: Points) -> list[tuple[float, ...]]:
    times = sorted(set(points.times))
    slowest, fastest = 0.02 / points.span, 3 / max(times[1] - times[0], points.span / 300)
    ratio = log(fastest / slowest) / (_NET - 1)
    rates = [slowest * exp(ratio * n) for n in range(_NET)]
    if shape.name == "slowing":
        return [(alpha, 1 / k) for alpha in (0.3, 1.0, 3.0, 10.0) for k in rates]
    return list(combinations(rates, len(shape.rates)))


def _refined(task: _Task, start: _Trial) -> _Trial:
    """Go down from a start until no step helps any more."""
    damping, at = 1e-3, task.trial(*start[1:])
    for _ in range(_STEPS):
        try:
            columns = task.columns(at)
            residuals = task.off(at.amplitudes, at.rates, at.background)
        except SingularError:
            break
        at, damping, moved = _step(task, at, columns, residuals, damping)
        if not moved:
            break
    return at


def _step(
    task: _Task, at: _Trial, columns: list[Column], residuals: Column, damping: float
) -> tuple[_Trial, float, bool]:
    """Find a step that helps; damps the more, the less the last one did."""
    while damping < 1e12:
        try:
            step, _ = solve(*_damped(columns, residuals, damping))
        except SingularError:
            return at, damping, False
        after = task.moved(at, step)
        if after.rss < at.rss:
            small = at.rss - after.rss <= 1e-15 * at.rss and damping < 1e-6
            return after, max(1e-15, damping / 8), not small
        if after.rss <= at.rss * (1 + _ROUNDING):
            return at, damping, False
        damping = max(damping * 8, 1e-12)
    return at, damping, False


def _damped(
    columns: list[Column], residuals: Column, damping: float
) -> tuple[list[Column], Column]:
    more = []
    for n, column in enumerate(columns):
        norm = sqrt(fsum(value * value for value in column)) or 1.0
        tail = [0.0] * len(columns)
        tail[n] = sqrt(damping) * norm
        more.append([*column, *tail])
    return more, [*residuals, *([0.0] * len(columns))]


def _finished(task: _Task, at: _Trial) -> Fit:
    at = _sorted(task.shape, at)
    zeros = [0.0] * len(task.points.values)
    covariance = inverse_square(solve(task.columns(at), zeros)[1])
    if not all(isfinite(value) for row in covariance for value in row):
        raise SingularError
    size = len(covariance)
    freedom = len(zeros) - size
    scale = at.rss / freedom if freedom > 0 else inf
    scaled = [[scale * value if value else 0.0 for value in row] for row in covariance]
    off = task.off(at.amplitudes, at.rates, at.background)
    residuals = [r * s for r, s in zip(off, task.points.spreads, strict=True)]
    free = task.fixed is None
    return Fit(
        task.shape,
        at.amplitudes,
        at.rates,
        at.background,
        free,
        scaled,
        at.rss,
        residuals,
        task.points,
    )


def _sorted(shape: Shape, at: _Trial) -> _Trial:
    """Tell rates that are alike from the slowest to the fastest."""
    if not shape.ordered or at.rates == sorted(at.rates):
        return at
    if len(shape.amplitudes) == 1:
        return at._replace(amplitudes=[-a for a in at.amplitudes], rates=sorted(at.rates))
    pairs = sorted(zip(at.rates, at.amplitudes, strict=True))
    return at._replace(amplitudes=[a for _, a in pairs], rates=[k for k, _ in pairs])
