"""Published limits of what is in the air, as a table to compare with: config/limits.toml."""

import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from ventwright.settings.durations import UNITS_MS, parse_duration
from ventwright.settings.shipped import shipped

MOLAR_VOLUME = 24.45
"""L/mol at 25 °C and 1 atm: the convention of industrial hygiene (OSHA Table Z-1, note a)."""

MOLAR_MASS = {"hcho": 30.03, "co": 28.01}
"""g/mol: WHO chapter 5.8 for formaldehyde; standard atomic weights for CO."""

_SCALE = {"µg/m³": 1.0, "mg/m³": 1000.0, "ppb": 1.0, "ppm": 1000.0}
_MASS = ("µg/m³", "mg/m³")


@dataclass(frozen=True)
class Limit:
    """One published value, with where it comes from and how well that was checked."""

    key: str
    substance: str
    quantity: str
    """Our quantity that can be compared with it; empty if no part of ours measures that."""
    value: float
    unit: str
    averaging: str
    """A duration, `year`, or `ceiling` (not to be exceeded at any time)."""
    population: Literal["public", "occupational"]
    issuer: str
    year: int | None
    """Of the edition; None where the source gives none."""
    kind: str
    source: str
    mark: Literal["confirmed", "from memory", "derived"]

    @property
    def averaging_ms(self) -> int:
        """Averaging time in ms; 0 for a ceiling, 365 days for a year."""
        if self.averaging in ("ceiling", "year"):
            return 365 * UNITS_MS["d"] if self.averaging == "year" else 0
        return parse_duration(self.averaging)

    def sentence(self) -> str:
        """Say the limit in plain words: `WHO 2021 guideline: 15 µg/m³ over 24 h`."""
        words = {"ceiling": "at any time", "year": "over a year"}
        over = words.get(self.averaging, f"over {self.averaging}")
        head = " ".join(str(w) for w in (self.issuer, self.year, self.kind) if w)
        return f"{head}: {self.value:g} {self.unit} {over}"

    def in_unit(self, unit: str) -> float:
        """Give the value in another unit, at 25 °C and 1 atm; raises ValueError if there is no way.

        µg/m³ = ppb x M / 24.45, M in g/mol (limits.md section 8: NIOSH Pocket Guide factors).
        """
        if unit == self.unit:
            return self.value
        if unit not in _SCALE or self.unit not in _SCALE:
            raise ValueError(f"{self.unit} cannot be told in {unit}")
        return self.value * _SCALE[self.unit] * self._ppb_to(unit) / _SCALE[unit]

    def _ppb_to(self, unit: str) -> float:
        """Give the factor from ppb to µg/m³ or back; 1 between units of one kind."""
        if (unit in _MASS) == (self.unit in _MASS):
            return 1.0
        if self.quantity not in MOLAR_MASS:
            raise ValueError(f"{self.substance} has no molar mass to tell {self.unit} in {unit}")
        factor = MOLAR_MASS[self.quantity] / MOLAR_VOLUME
        return factor if unit in _MASS else 1 / factor


@cache
def limits() -> dict[str, Limit]:
    """Read the table of published limits, by key."""
    table = tomllib.loads(shipped("limits.toml").read_text(encoding="utf-8"))
    return {key: _limit(key, row) for key, row in table.items()}


def _limit(key: str, row: dict[str, Any]) -> Limit:
    return Limit(**{"key": key, "year": None, **row, "value": float(row["value"])})
