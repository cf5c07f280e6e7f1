"""Published emission of filament printers, as a table of ranges: config/emissions.toml.

It is for sizing before the first trial and for the band behind one's own results. It must not know
what is done with the figures.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import Any

from ventwright.settings.shipped import shipped

PER_HOUR = {
    "1/h": ("1/h", 1.0),
    "1/min": ("1/h", 60.0),
    "1/s": ("1/h", 3600.0),
    "µg/h": ("µg/h", 1.0),
    "µg/min": ("µg/h", 60.0),
    "mg/h": ("µg/h", 1000.0),
}
"""The units of the table, and what makes 1/h or µg/h of each."""

MARKS = ("confirmed", "from memory", "derived")

_ANY = "any"
_TEXTS = ("material", "quantity", "unit", "range", "measured", "source", "mark")


@dataclass(frozen=True)
class Emission:
    """A published range of an emission rate, with where it comes from."""

    key: str
    material: str
    """As the source names it; several with commas between, or `any`."""
    quantity: str
    """particles (by number), tvoc, styrene, caprolactam or lactide."""
    low: float
    high: float
    unit: str
    range: str
    """What the range is: interquartile, of medians, lowest to highest, one figure."""
    measured: str
    nearest: str
    """Our quantity that is nearest to it, which is not the same; empty if there is none."""
    source: str
    mark: str

    @property
    def hourly(self) -> tuple[float, float, str]:
        """Give the range in 1/h or µg/h, and which of the two it is."""
        unit, factor = PER_HOUR[self.unit]
        return self.low * factor, self.high * factor, unit

    def covers(self, material: str) -> bool:
        """Tell whether the row speaks of a material; case does not count, `any` covers all."""
        named = [one.strip().casefold() for one in self.material.split(",")]
        return material.strip().casefold() in named or self.material == _ANY


@cache
def emissions() -> dict[str, Emission]:
    """Read the table of published emission, by key; raises ValueError for a row that is wrong."""
    return rows(tomllib.loads(shipped("emissions.toml").read_text(encoding="utf-8")))


def rows(table: Mapping[str, Mapping[str, Any]]) -> dict[str, Emission]:
    """Check a table and make rows of it; raises ValueError that says which row and what."""
    return {key: _row(key, given) for key, given in table.items()}


def _row(key: str, given: Mapping[str, Any]) -> Emission:
    wanted = {field.name for field in fields(Emission)} - {"key"}
    if wrong := wanted.symmetric_difference(given):
        raise ValueError(
            f"[{key}] of emissions.toml: {', '.join(sorted(wrong))} missing or unknown"
        )
    if empty := [name for name in _TEXTS if not given[name]]:
        raise ValueError(f"[{key}] of emissions.toml: {', '.join(empty)} must not be empty")
    if given["unit"] not in PER_HOUR or given["mark"] not in MARKS:
        raise ValueError(
            f"[{key}] of emissions.toml: unit is one of {', '.join(PER_HOUR)}, mark one of "
            f"{', '.join(MARKS)}; found {given['unit']} and {given['mark']}"
        )
    if not 0 < given["low"] <= given["high"]:
        raise ValueError(f"[{key}] of emissions.toml: low must be above 0 and not above high")
    return Emission(key, **given)


def published(quantity: str, material: str = _ANY) -> list[Emission]:
    """List the rows of one quantity of the table that speak of a material.

    Rows that name the material; where none does, the rows over any. With `any` those only.
    """
    found = [row for row in emissions().values() if row.quantity == quantity]
    named = [row for row in found if row.material != _ANY and row.covers(material)]
    return named or [row for row in found if row.material == _ANY]
