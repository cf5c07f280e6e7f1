"""What a part gets to see of the room: late, noisy and slightly off. The twins round it.

The room keeps particle mass in bands that do not overlap, so that what a part shows of PM10
includes its PM2.5 and that its PM1, noise and all.
"""

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass

BANDS = ("fine", "middle", "coarse")
"""Particle mass below 1 µm, from 1 to 2.5 µm and from 2.5 to 10 µm, µg/m³ each."""

MADE_OF: dict[str, dict[str, float]] = {
    "pm1": {"fine": 1.0},
    "pm2_5": {"fine": 1.0, "middle": 1.0},
    "pm4": {"fine": 1.0, "middle": 1.0, "coarse": 0.4},
    "pm10": {"fine": 1.0, "middle": 1.0, "coarse": 1.0},
    "n0_3": {"fine": 30.0, "middle": 0.57, "coarse": 0.03},
    "n0_5": {"fine": 6.0, "middle": 0.57, "coarse": 0.03},
    "n1": {"middle": 0.57, "coarse": 0.03},
    "n2_5": {"coarse": 0.03},
    "n5": {"coarse": 0.01},
    "n10": {"coarse": 0.0005},
}
"""Particle quantities as sums over bands. Numbers, 1/cm³ per µg/m³: spheres of 1 g/cm³ and 0.4,
1.5 and 4 µm for the three bands (6·mass/(π·d³)); a choice, not a measurement."""


def vapour_at_saturation(celsius: float) -> float:
    """Give the most water that air can hold, g/m³, at a temperature in °C.

    216.679·e/T with e = 6.1094·exp(17.625·t/(t + 243.04)): limits.md section 9.
    """
    pressure = 6.1094 * math.exp(17.625 * celsius / (celsius + 243.04))
    return 216.679 * pressure / (celsius + 273.15)


@dataclass(frozen=True)
class Sense:
    """How a part sees one thing: lag (s), bias (factor), noise (share of the level, and floor)."""

    lag_s: float = 5.0
    bias: float = 1.0
    noise_share: float = 0.0
    noise_floor: float = 0.0


EXACT = Sense(lag_s=0.0)


class Senses:
    """One part's view. Call `follow` as time passes, then read it as a twin's `air`."""

    def __init__(self, part: str, seed: int, senses: Mapping[str, Sense]) -> None:
        """See each thing in `senses` as told, all else exactly; noise comes from seed and part."""
        self._senses = senses
        self._noise = random.Random(f"{seed} {part}")  # noqa: S311 - noise, not a secret
        self._levels: dict[str, float] = {}
        self._shown: dict[str, float] = {}

    def follow(self, levels: Mapping[str, float], seconds: float) -> None:
        """Let the part's slow view of `levels` catch up for `seconds`: first-order lag."""
        for name, level in levels.items():
            sense = self._senses.get(name, EXACT)
            seen = self._levels.get(name, level)
            share = -math.expm1(-seconds / sense.lag_s) if sense.lag_s else 1.0
            self._levels[name] = seen + (level - seen) * share
        self._shown = {}

    def _show(self, name: str) -> float:
        if name not in self._shown:
            sense = self._senses.get(name, EXACT)
            level = self._levels[name] * sense.bias
            spread = sense.noise_share * abs(level) + sense.noise_floor
            self._shown[name] = level + (self._noise.gauss(0.0, spread) if spread else 0.0)
        return self._shown[name]

    def __call__(self, quantity: str) -> float:
        """Give what the part sees of a quantity, canonical unit; draws noise once a `follow`."""
        if quantity in MADE_OF:
            parts = MADE_OF[quantity].items()
            return sum(factor * max(0.0, self._show(band)) for band, factor in parts)
        if quantity == "humidity":
            most = vapour_at_saturation(self._show("temperature"))
            return min(100.0, max(0.0, 100.0 * self._show("vapour") / most))
        return self._show(quantity)
