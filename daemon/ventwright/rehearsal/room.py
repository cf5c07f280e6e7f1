"""A room whose air is well mixed: what is put in, what leaves, what settles. Time is passed in.

For each pollutant (limits.md section 6, single-zone mass balance):

    dC/dt = P·a·Cout + k·Csurface + S/V − (a + k + η·Q/V)·C

a air change by leakage and exhaust (1/h), P what gets in with that air, k exchange with surfaces
(for particles: deposition, with Csurface 0), η·Q/V what a recirculating filter takes, S the
source. Levels are in the pollutant's own unit per m³ (or ppm, with sources in ppm·m³/h).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

_HOUR_S = 3600.0


@dataclass(frozen=True)
class Pollutant:
    """How one thing in the air comes and goes; levels in its own unit."""

    name: str
    start: float = 0.0
    """Level at the beginning."""
    outdoor: float = 0.0
    """Level outside."""
    penetration: float = 1.0
    """Share of the outdoor level that gets in with the air, 0 to 1."""
    surface_rate: float = 0.0
    """Exchange with surfaces, 1/h: deposition for particles."""
    surface_level: float = 0.0
    """Level that the surfaces pull towards: 0 for particles."""
    filtered: float = 0.0
    """Share that a filter takes in one pass, 0 to 1."""


class Room:
    """One well-mixed zone with leaks, an exhaust to the outside and a recirculating filter."""

    def __init__(self, volume: float, leakage: float, pollutants: Iterable[Pollutant]) -> None:
        """Fill a room of `volume` m³ that leaks `leakage` times its air an hour."""
        self.volume = volume
        self.leakage = leakage
        self.pollutants = {p.name: p for p in pollutants}
        self.levels = {p.name: p.start for p in self.pollutants.values()}
        self.sources: dict[str, float] = {}
        """What is put in now, amount an hour, by pollutant."""
        self.exhaust = 0.0
        """Air that the extractor takes to the outside now, m³/h."""
        self.filtering = 0.0
        """Air that passes the filter now, m³/h."""

    @property
    def air_change(self) -> float:
        """The air change rate now, 1/h."""
        return self.leakage + self.exhaust / self.volume

    def loss_rate(self, name: str) -> float:
        """The first-order rate at which a pollutant leaves now, 1/h."""
        kind = self.pollutants[name]
        return self.air_change + kind.surface_rate + kind.filtered * self.filtering / self.volume

    def gain(self, name: str) -> float:
        """The rate at which a pollutant comes in now, level an hour."""
        kind = self.pollutants[name]
        from_outside = kind.penetration * self.air_change * kind.outdoor
        from_surfaces = kind.surface_rate * kind.surface_level
        return from_outside + from_surfaces + self.sources.get(name, 0.0) / self.volume

    def advance(self, seconds: float) -> None:
        """Let `seconds` pass with everything as it is now; exact for any step.

        C(t) = Css + (C0 − Css)·e^(−λt), Css = gain/λ; a straight line where λ is 0.
        """
        hours = seconds / _HOUR_S
        for name in self.levels:
            rate, gain = self.loss_rate(name), self.gain(name)
            kept = math.exp(-rate * hours)
            share = -math.expm1(-rate * hours) / rate if rate else hours
            self.levels[name] = self.levels[name] * kept + gain * share
