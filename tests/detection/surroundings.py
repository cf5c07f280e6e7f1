"""What a room gets without any print: weather, doors, vacuuming, cooking next door, damp air."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from detection.families import Family, Range

Array = NDArray[np.float64]
DAY_S = 86_400


class Spell(NamedTuple):
    """Something other than a print that changes the air, and until when it may be felt, s."""

    cause: str
    begins: float
    ends: float


class Surroundings(NamedTuple):
    """Evenly spaced in time: what comes from outside and inside, prints left out."""

    outdoor: Array
    """µg/m³"""
    doors: Array
    """Air exchange through open doors, 1/h."""
    sources: Array
    """Vacuuming and what seeps in from next door, µg/m³ an hour."""
    damp: Array
    """Factor by which optical parts read high."""
    spells: list[Spell]


def pick(dice: np.random.Generator, within: Range) -> float:
    """Draw evenly from a range."""
    return float(dice.uniform(*within))


def slow_noise(dice: np.random.Generator, count: int, step: float, tau: float) -> Array:
    """Draw a stationary first-order process of unit spread; `step` and `tau` in the same unit."""
    kept = np.exp(-step / tau)
    start = dice.normal()
    pushes = dice.normal(size=count) * np.sqrt(1 - kept**2)
    return np.asarray(lfilter([1.0], [1, -kept], pushes, zi=[kept * start])[0])


def weather(family: Family, t: Array, dice: np.random.Generator) -> Array:
    """Draw the outdoor level: a median, weather of hours to days, and an hour of the day."""
    coarse = np.arange(0, t[-1] + 600, 300.0)
    spread, tau = pick(dice, family.weather), pick(dice, family.weather_h) * 3600
    moods = slow_noise(dice, len(coarse), 300, tau)
    moods = lfilter([0.1], [1, -0.9], moods - moods[0]) + moods[0]  # no corners in the weather
    swing, peak = pick(dice, family.daily), dice.uniform(0, DAY_S)
    hours = np.cos(2 * np.pi * (coarse - peak) / DAY_S)
    hours += 0.5 * np.cos(4 * np.pi * (coarse - peak - 3 * 3600) / DAY_S)
    median = np.exp(dice.uniform(*np.log(family.outdoor)))
    level = median * np.exp(spread * moods) * np.maximum(0.1, 1 + swing * hours)
    return np.asarray(np.interp(t, coarse, level))


def dampness(family: Family, t: Array, dice: np.random.Generator) -> Array:
    """Draw how much too high optical parts read: 1 + κ/1.65·rh/(1 − rh), κ 0.2 (κ-Köhler)."""
    days = int(t[-1] // DAY_S) + 2
    humid = dice.random(days) < pick(dice, family.humid_days)
    noon = np.where(humid, dice.uniform(0.7, 0.9, days), dice.uniform(0.35, 0.6, days))
    rh = np.interp(t, (np.arange(days) + 0.5) * DAY_S, noon)
    rh = np.minimum(0.92, rh * (1 + 0.06 * np.cos(2 * np.pi * t / DAY_S)))
    return 1 + 0.2 / 1.65 * (rh / (1 - rh) - 1)


def busy(t: Array, dice: np.random.Generator, a_week: Range) -> list[float]:
    """Draw the times of what people do, between 7 and 22 h."""
    weeks = t[-1] / (7 * DAY_S)
    count = dice.poisson(pick(dice, a_week) * weeks)
    days = dice.integers(0, max(1, round(t[-1] / DAY_S)), count)
    return sorted(days * DAY_S + dice.uniform(7, 22, count) * 3600)


def _source(rate: Array, t: Array, begins: float, lasts: float, peak: float, tau: float) -> None:
    """Add a source that would lift the level by about `peak` and seeps in with `tau` s."""
    on = ((t >= begins) & (t < begins + lasts)).astype(float)
    first = np.searchsorted(t, begins)
    last = np.searchsorted(t, begins + lasts + 6 * tau)
    kept = np.exp(-(t[1] - t[0]) / tau)
    rate[first:last] += lfilter([1 - kept], [1, -kept], on[first:last]) * peak / (lasts / 3600)


def surroundings(family: Family, t: Array, dice: np.random.Generator) -> Surroundings:
    """Draw everything that happens in a room without prints at times `t` s."""
    doors, sources, spells = np.zeros_like(t), np.zeros_like(t), []
    for begins in busy(t, dice, family.doors):
        lasts = float(np.exp(dice.uniform(np.log(15), np.log(600))))
        doors[(t >= begins) & (t < begins + lasts)] += pick(dice, family.door_ach)
        spells.append(Spell("door", begins, begins + lasts + 1800))
    for begins in busy(t, dice, family.vacuuming):
        lasts, peak = dice.uniform(300, 1500), pick(dice, family.vacuum_peak)
        _source(sources, t, begins, lasts, peak, 30)
        spells.append(Spell("vacuuming", begins, begins + lasts + 7200))
    for begins in busy(t, dice, family.cooking):
        lasts, peak = dice.uniform(900, 3600), pick(dice, family.cooking_peak)
        _source(sources, t, begins, lasts, peak, 600)
        spells.append(Spell("cooking", begins, begins + lasts + 7200))
    outdoor, damp = weather(family, t, dice), dampness(family, t, dice)
    return Surroundings(outdoor, doors, sources, damp, spells)
