"""Published limits of what is in the air, as a table to compare with: config/limits.toml."""

import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from ventwright.settings.durations import UNITS_MS, parse_duration
from ventwright.settings.shipped import shipped
from ventwright.standards.gases import MOLAR_VOLUME, convert
from ventwright_drivers.quantities import QUANTITIES


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

    def in_message(self) -> str:
        """Say it also in our unit, with whom it is for, and whether it was looked up."""
        work = ", for adults at work" if self.population == "occupational" else ""
        unsure = {"from memory": " (from memory)", "derived": " (derived)"}.get(self.mark, "")
        return f"{self.sentence()}{self._in_ours()}{work}{unsure}"

    def _in_ours(self) -> str:
        quantity = QUANTITIES.get(self.quantity)
        if quantity is None or quantity.unit == self.unit:
            return ""
        return f", {self.in_unit(quantity.unit):.3g} {quantity.unit} at 25 °C and 1 atm"

    def in_unit(self, unit: str, volume: float = MOLAR_VOLUME) -> float:
        """Give the value in another unit; raises ValueError if there is no way.

        At 25 °C and 1 atm unless another molar volume is given, L/mol (standards/gases.py).
        """
        return convert(self.value, self.unit, unit, self.quantity, volume)


@cache
def limits() -> dict[str, Limit]:
    """Read the table of published limits, by key."""
    table = tomllib.loads(shipped("limits.toml").read_text(encoding="utf-8"))
    return {key: _limit(key, row) for key, row in table.items()}


def _limit(key: str, row: dict[str, Any]) -> Limit:
    return Limit(**{"key": key, "year": None, **row, "value": float(row["value"])})
