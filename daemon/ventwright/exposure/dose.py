"""The arithmetic of exposure: mass breathed in, share of a day's guideline, acceptable intake.

Plain formulas on hours and concentrations. It must not know any store, channel or clock.
"""

from collections.abc import Sequence
from typing import NamedTuple

DAY_HOURS = 24

Piece = tuple[float, float]
"""A concentration, and the hours that were spent in it."""


class Share(NamedTuple):
    """What became of a day's guideline."""

    taken: float
    """Share of what the guideline allows in 24 h; above 1 it is used up."""
    mean_left: float | None
    """What the rest of the day may have on average, the guideline's unit; None without a rest."""


def area(pieces: Sequence[Piece]) -> float:
    """Sum concentration x hours, unit x h."""
    return sum(concentration * hours for concentration, hours in pieces)


def inhaled(pieces: Sequence[Piece], rate: float) -> float:
    """Give what was breathed in, in µg for µg/m³ at a `rate` in m³/h.

    Breathed in is not taken up: part of it is breathed out again (common practice, no source).
    """
    return area(pieces) * rate


def share_of_day(pieces: Sequence[Piece], limit: float) -> Share:
    """Compare with a guideline for the mean of 24 h, in the unit of the pieces.

    The guideline allows limit x 24 h; what is left of it is spread over the hours that are left.
    """
    taken, spent = area(pieces), sum(hours for _, hours in pieces)
    rest = DAY_HOURS - spent
    left = max(0.0, limit * DAY_HOURS - taken) / rest if rest > 1e-9 else None
    return Share(taken / (limit * DAY_HOURS), left)


def picograms_a_kilogram(micrograms: float, fraction: float, weight: float) -> float:
    """Give the intake of a substance, pg per kg of body weight, from the mass breathed in, µg.

    `fraction` is its share of the particles' mass, 0..1; `weight` in kg. Raises ValueError.
    """
    if not 0 <= fraction <= 1:
        raise ValueError("the share of a substance in the particles is from 0 to 1")
    if weight <= 0:
        raise ValueError("a body weight above 0 kg is needed")
    return micrograms * fraction * 1e6 / weight
