"""Integrals by Gauss-Legendre panels, and over the spread that a few repeats may show."""

import math
from collections.abc import Callable
from functools import cache

_NODES = 16
_PANELS = 4
_FEW_DF, _SMOOTH_DF = 12, 6
"""Panels for a spread seen with few degrees of freedom, whose far end is long."""

_WIDE = 8.0
"""So many standard deviations hold all but some 1e-14 of a distribution."""

Rule = tuple[tuple[float, float], ...]
"""Places and weights."""


@cache
def _legendre() -> Rule:
    """Find nodes and weights on -1 to 1 by Newton's method on the Legendre polynomial."""
    found = []
    for k in range(_NODES):
        x = math.cos(math.pi * (k + 0.75) / (_NODES + 0.5))
        for _ in range(60):
            value, slope = _polynomial(x)
            x -= value / slope
        found.append((x, 2 / ((1 - x * x) * _polynomial(x)[1] ** 2)))
    return tuple(found)


def _polynomial(x: float) -> tuple[float, float]:
    before, value = 1.0, x
    for n in range(2, _NODES + 1):
        before, value = value, ((2 * n - 1) * x * value - (n - 1) * before) / n
    return value, _NODES * (x * value - before) / (x * x - 1)


@cache
def panels(low: float, high: float, count: int = _PANELS) -> Rule:
    """Give places and weights of `count` panels between two ends."""
    half = (high - low) / count / 2
    return tuple(
        (low + half * (2 * n + 1 + x), half * weight)
        for n in range(count)
        for x, weight in _legendre()
    )


@cache
def spreads(df: float) -> Rule:
    """Give places and chances of s/σ, the spread seen over the true one, at `df` degrees."""
    reach = _WIDE / math.sqrt(2 * df)
    low, high = max(0.0, 1 - reach), 1 + reach * (1 + 2 / df)
    scale = math.log(2) + df / 2 * math.log(df / 2) - math.lgamma(df / 2)

    def density(s: float) -> float:
        return math.exp(scale + (df - 1) * math.log(s) - df * s * s / 2)

    return tuple(
        (s, weight * density(s))
        for s, weight in panels(low, high, _FEW_DF if df < _SMOOTH_DF else _PANELS)
    )


@cache
def normals() -> Rule:
    """Give places and chances of a standard normal number."""
    scale = 1 / math.sqrt(2 * math.pi)
    found = panels(-_WIDE, _WIDE)
    return tuple((z, weight * scale * math.exp(-z * z / 2)) for z, weight in found)


def over(rule: Rule, value: Callable[[float], float]) -> float:
    """Sum a function over a rule."""
    return math.fsum(weight * value(place) for place, weight in rule)
