"""Figures that a fitted curve has beyond its parameters: DT50, DT90, peak, error level.

Source of the error level and of DT50 and DT90: FOCUS 2006, EC Sanco/10058/2005 (formulas from
memory). Knows fits, no room.
"""

from math import fsum, inf, log, sqrt
from typing import NamedTuple

from ventwright.mixing.curve import Fit
from ventwright.standards.distributions import chi2_quantile

_FARTHEST = 1e9


def time_left(fit: Fit, share: float) -> float:
    """Give the time at which `share` (0 to 1) of what the curve begins with is left.

    Of a build-up: the time at which this share is missing to its end. The background is left out.
    Infinite where it never comes to that; not a number where the shape goes up and down.
    """
    rate = fit.rates[0]
    if fit.shape.name in ("decay", "build-up"):
        return log(1 / share) / rate if rate > 0 else inf
    if not fit.shape.falls:
        return float("nan")
    return _crossing(fit, share * _above(fit, 0.0))


def _above(fit: Fit, t: float) -> float:
    return fit.shape.value(t, fit.amplitudes, fit.rates)


def _crossing(fit: Fit, wanted: float) -> float:
    low, high = 0.0, fit.points.span / 100
    try:
        while _above(fit, high) > wanted:
            low, high = high, 2 * high
            if high > _FARTHEST * fit.points.span:
                return inf
    except (ArithmeticError, ValueError):  # a rate below 0: later on the curve is none any more
        return inf
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if _above(fit, middle) > wanted else (low, middle)
    return high


def peak(fit: Fit) -> float:
    """Give the time at which a rise-and-fall is highest: ln(k2/k1)/(k2 - k1); NaN otherwise."""
    if fit.shape.name != "rise-and-fall" or min(fit.rates) <= 0:
        return float("nan")
    slow, fast = fit.rates
    return log(fast / slow) / (fast - slow)


def error_level(fit: Fit) -> float | None:
    """Give the smallest error, % of the mean, at which a chi-squared test passes at 5 %.

    Values at one time are averaged first. None where no degree of freedom is left.
    """
    by_time: dict[float, list[float]] = {}
    for t, value in zip(fit.points.times, fit.points.values, strict=True):
        by_time.setdefault(t, []).append(value)
    means = {t: fsum(values) / len(values) for t, values in by_time.items()}
    freedom = len(means) - len(fit.names)
    overall = fsum(means.values()) / len(means)
    if freedom < 1 or not overall:
        return None
    squares = fsum((fit.at(t) - mean) ** 2 for t, mean in means.items())
    return 100 * sqrt(squares / chi2_quantile(0.95, freedom)) / abs(overall)


class Parallel(NamedTuple):
    """Two decays side by side as one start and a share, with standard errors."""

    start: tuple[float, float]
    share: tuple[float, float]
    """g, of what goes by the fast rate, 0 to 1."""
    fast: tuple[float, float]
    slow: tuple[float, float]


def parallel(fit: Fit) -> Parallel:
    """Tell two-decays as C0 (g exp(-k1 t) + (1 - g) exp(-k2 t)), k1 the fast one.

    Errors by the first derivatives (textbook).
    """
    slow, fast = fit.amplitudes
    start = slow + fast
    share = fast / start
    size = len(fit.names)
    of_start = [1.0, 1.0] + [0.0] * (size - 2)
    of_share = [-fast / start**2, slow / start**2] + [0.0] * (size - 2)
    rates = [(fit.rates[n], fit.error(f"k{n + 1}")) for n in (1, 0)]
    return Parallel((start, _spread(fit, of_start)), (share, _spread(fit, of_share)), *rates)


def _spread(fit: Fit, slopes: list[float]) -> float:
    rows = [fsum(a * v for a, v in zip(slopes, row, strict=True)) for row in fit.covariance]
    return sqrt(max(0.0, fsum(a * v for a, v in zip(slopes, rows, strict=True))))
