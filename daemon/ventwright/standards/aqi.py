"""The air quality index of the US EPA, with the breakpoints of 2024.

It is made for outdoor air over a day (CO: 8 hours); indoors it is a way to read a number.

Source of breakpoints and equation: 40 CFR 58, appendix G, table 2, in force since 6 May 2024
(EPA-454/B-24-002, table 6); PM2.5 confirmed at second hand.
"""

from itertools import pairwise
from math import floor
from typing import NamedTuple

HIGHEST = 300
"""Above it there is no number. The rule leaves the scale open there, and two tables are in use
that differ: PM10 of 500 µg/m³ is 395 in one and 384 in the other."""

_INDEX = (0, 51, 101, 151, 201, 301)
_NAMES = (
    "Good",
    "Moderate",
    "Unhealthy for Sensitive Groups",
    "Unhealthy",
    "Very Unhealthy",
    "Hazardous",
)


class _Scale(NamedTuple):
    """Where the categories begin, in steps; steps a unit; the averaging time of the index."""

    begins: tuple[int, ...]
    per_unit: int
    hours: int


_SCALES = {
    "pm2_5": _Scale((0, 91, 355, 555, 1255, 2255), 10, 24),
    "pm10": _Scale((0, 55, 155, 255, 355, 425), 1, 24),
    "co": _Scale((0, 45, 95, 125, 155, 305), 10, 8),
}
QUANTITIES = tuple(_SCALES)
"""Those that have an index: particles in µg/m³, CO in ppm."""


class Index(NamedTuple):
    """An index from 0 to 300, or None above that, and its category."""

    number: int | None
    category: str

    @property
    def words(self) -> str:
        """Say it: `66 (Moderate)`, `above 300 (Hazardous)`."""
        number = f"above {HIGHEST}" if self.number is None else str(self.number)
        return f"{number} ({self.category})"


def averaging_hours(quantity: str) -> int:
    """Tell over how many hours the mean is taken that an index of a quantity is made of."""
    return _SCALES[quantity].hours


def truncated(quantity: str, value: float) -> float:
    """Cut a mean off (never round it) to 0.1 µg/m³ PM2.5, 1 µg/m³ PM10 or 0.1 ppm CO.

    What is missing to the next step by less than a millionth of a step is a matter of binary
    fractions and is not cut. Raises KeyError for other quantities.
    Source: AirNow technical forum, topic 453; 0.1 ppm for CO is from memory.
    """
    return _steps(quantity, value) / _SCALES[quantity].per_unit


def _steps(quantity: str, value: float) -> int:
    return floor(round(value * _SCALES[quantity].per_unit, 6))


def index(quantity: str, value: float) -> Index:
    """Give the index of a mean of PM2.5 or PM10 (µg/m³) or CO (ppm), at least 0.

    It is 0 to 300; above that only the category is told. Raises KeyError for other quantities
    and ValueError for a value below 0.
    Source: I = (Ihi - Ilo) / (BPhi - BPlo) x (C - BPlo) + Ilo, C truncated, I rounded.
    """
    steps = _steps(quantity, value)
    if steps < 0:
        raise ValueError(f"{value:g} is no concentration")
    begins = zip(pairwise(_SCALES[quantity].begins), pairwise(_INDEX), _NAMES, strict=False)
    for (low, after), (lowest, next_lowest), name in begins:
        if steps < after:
            share = (steps - low) / (after - 1 - low)
            return Index(floor(share * (next_lowest - 1 - lowest) + lowest + 0.5), name)
    return Index(None, _NAMES[-1])
