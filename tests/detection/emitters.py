"""Prints: when one emits, and how much of its strongest rate at every moment.

The rate is scaled so that the print adds `strength` to its worst hour in this room without a
fan: that hour is what the goal speaks of.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Array = NDArray[np.float64]


class Print(NamedTuple):
    """A print: when it emits (s), its shape, and what it adds to its worst hour, µg/m³."""

    begins: float
    ends: float
    shape: str
    strength: float


def profile(shape: str, t: Array, lasts: float, dice: np.random.Generator) -> Array:
    """Give the relative rate at `t` s after the start of the emission."""
    h = t / 3600
    if shape == "burst":  # heating and purging, a dip, a plateau
        plateau = dice.uniform(0.03, 0.5)
        dip = plateau * dice.uniform(0.1, 0.6)
        return np.where(t < dice.uniform(90, 300), 1.0, np.where(t < 720, dip, plateau))
    if shape == "ramp":  # something warms up for a quarter to a whole hour
        return np.minimum(1.0, 0.1 + h / dice.uniform(0.25, 1.0))
    if shape == "pulses":  # strong now and then: changes of tool or filament
        every, share = dice.uniform(300, 1500), dice.uniform(0.3, 0.8)
        return np.where((t % every) < share * every, 1.0, 0.15)
    if shape == "fading":  # most at the beginning
        return np.exp(-h / dice.uniform(0.3, 2.0)) + 0.1
    if shape == "late":  # nearly nothing while the bed heats
        return np.where(t < dice.uniform(120, 500), 0.05, 1.0) * dice.uniform(0.8, 1.2)
    return np.ones_like(t) * (lasts > 0)  # steady


def emission(one: Print, t: Array, loss: float, dice: np.random.Generator) -> Array:
    """Give what the print adds at `t` s (evenly spaced), µg/m³ an hour; `loss` is in 1/h."""
    rate = np.zeros_like(t)
    on = (t >= one.begins) & (t < one.ends)
    lasts = one.ends - one.begins
    rate[on] = profile(one.shape, t[on] - one.begins, lasts, dice)
    step = t[1] - t[0]
    kept = np.exp(-loss * step / 3600)
    level = lfilter([(1 - kept) / loss], [1, -kept], rate)
    hour = round(3600 / step)
    sums = np.cumsum(level)
    worst = np.max(sums[hour:] - sums[:-hour]) / hour
    return np.asarray(rate * (one.strength / worst))
