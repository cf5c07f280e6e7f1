"""A room as it was drawn: its fixed data, its surroundings, its prints, and its part's errors."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from detection.emitters import Print, emission
from detection.families import Family, PartView
from detection.surroundings import DAY_S, Surroundings, pick, slow_noise, surroundings

Array = NDArray[np.float64]
PENETRATION = 0.8


class Room(NamedTuple):
    """Everything that is fixed before the fan has a say. Times in s, levels in µg/m³."""

    part: PartView
    t: Array
    leakage: float
    deposition: float
    fan_ach: float
    """Air change by the fan, 1/h."""
    around: Surroundings
    prints: list[Print]
    emitted: Array
    """By prints, µg/m³ an hour."""
    wander: Array
    dice: Array
    """Standard normal noise, one a reading."""

    @property
    def loss(self) -> float:
        """Loss rate without fan and doors, 1/h."""
        return self.leakage + self.deposition


def _prints(family: Family, days: int, dice: np.random.Generator) -> list[Print]:
    """Draw a print a day from the second day on, hours apart from the one before."""
    found: list[Print] = []
    for day in range(1, days):
        begins = day * DAY_S + dice.uniform(0, 20) * 3600
        if found and begins < found[-1].ends + 4 * 3600:
            continue
        lasts = np.exp(dice.uniform(*np.log(family.lasts_h))) * 3600
        ends = min(begins + lasts, days * DAY_S - 3600)
        strength = float(np.exp(dice.uniform(*np.log(family.strength))))
        found.append(Print(begins, ends, str(dice.choice(family.shapes)), strength))
    return found


def draw(family: Family, seed: int, days: int, printing: bool) -> Room:
    """Draw the room of a seed, for some days, with or without prints."""
    dice = np.random.default_rng([seed, int(printing), sum(family.name.encode())])
    part = family.parts[seed % len(family.parts)]
    t = np.arange(0, days * DAY_S, part.period_s)
    leakage, deposition = pick(dice, family.leakage), pick(dice, family.deposition)
    volume, fan = pick(dice, family.volume), pick(dice, family.fan)
    around = surroundings(family, t, dice)
    prints = _prints(family, days, dice) if printing else []
    emitted = np.zeros_like(t)
    for one in prints:
        emitted += emission(one, t, leakage + deposition, dice)
    wander = part.wander * slow_noise(dice, len(t), part.period_s, 1800)
    noise = dice.normal(size=len(t))
    return Room(part, t, leakage, deposition, fan / volume, around, prints, emitted, wander, noise)
