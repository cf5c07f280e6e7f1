"""The shapes of curves that rooms and substances follow: sums of terms with rates.

Every shape is linear in its amplitudes, once its rates are known; so a fit needs guesses for
rates only, and takes them from the data. Knows formulas, no fitting.
Source of the shapes with two rates and of the slowing one: FOCUS 2006, degradation kinetics
(single first-order, first-order multi-compartment, double first-order in parallel).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, expm1, log1p

Rates = Sequence[float]
Terms = Callable[[float, Rates], list[float]]
Slopes = Callable[[float, Rates], list[list[float]]]


@dataclass(frozen=True)
class Shape:
    """A curve: the sum of amplitudes times terms, and a background beside it."""

    name: str
    says: str
    """Its formula, without the background."""
    amplitudes: tuple[str, ...]
    rates: tuple[str, ...]
    terms: Terms
    """One value an amplitude, at a time, with these rates."""
    slopes: Slopes
    """By amplitude, how its term changes with each rate."""
    ordered: bool = False
    """Whether the rates are alike, and told from the slowest to the fastest."""
    falls: bool = True
    """Whether it comes down from its first value all the way."""

    def value(self, t: float, amplitudes: Sequence[float], rates: Rates) -> float:
        """Give the curve at a time, background left out."""
        return sum(a * term for a, term in zip(amplitudes, self.terms(t, rates), strict=True))


def _decays(t: float, rates: Rates) -> list[float]:
    return [exp(-k * t) for k in rates]


def _decay_slopes(t: float, rates: Rates) -> list[list[float]]:
    falls = [-t * exp(-k * t) for k in rates]
    return [[fall if n == m else 0.0 for m in range(len(rates))] for n, fall in enumerate(falls)]


def _builds(t: float, rates: Rates) -> list[float]:
    return [-expm1(-rates[0] * t)]


def _build_slopes(t: float, rates: Rates) -> list[list[float]]:
    return [[t * exp(-rates[0] * t)]]


def _rises(t: float, rates: Rates) -> list[float]:
    fall, rise = rates
    return [exp(-fall * t) - exp(-rise * t)]


def _rise_slopes(t: float, rates: Rates) -> list[list[float]]:
    fall, rise = rates
    return [[-t * exp(-fall * t), t * exp(-rise * t)]]


def _slows(t: float, rates: Rates) -> list[float]:
    alpha, beta = rates
    return [exp(-alpha * log1p(t / beta))]


def _slow_slopes(t: float, rates: Rates) -> list[list[float]]:
    alpha, beta = rates
    (value,) = _slows(t, rates)
    return [[-log1p(t / beta) * value, alpha * t / (beta * (beta + t)) * value]]


def _sum_of(count: int, name: str) -> Shape:
    numbers = range(1, count + 1)
    return Shape(
        name,
        " + ".join(f"a{n}·exp(-k{n}·t)" for n in numbers),
        tuple(f"a{n}" for n in numbers),
        tuple(f"k{n}" for n in numbers),
        _decays,
        _decay_slopes,
        ordered=True,
    )


_ALL = (
    Shape("decay", "a·exp(-k·t)", ("a",), ("k",), _decays, _decay_slopes),
    _sum_of(2, "two-decays"),
    _sum_of(3, "three-decays"),
    Shape("build-up", "a·(1 - exp(-k·t))", ("a",), ("k",), _builds, _build_slopes, falls=False),
    Shape(
        "rise-and-fall",
        "a·(exp(-k1·t) - exp(-k2·t))",
        ("a",),
        ("k1", "k2"),
        _rises,
        _rise_slopes,
        ordered=True,
        falls=False,
    ),
    Shape("slowing", "a·(t/beta + 1)^(-alpha)", ("a",), ("alpha", "beta"), _slows, _slow_slopes),
)
SHAPES = {shape.name: shape for shape in _ALL}
