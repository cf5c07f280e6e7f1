"""Takes what somebody gives as figures or names, and makes a range, a limit or a share of it.

An emission is a figure, two with a hyphen between, a material of the literature table, or an
analysed trial. Raises GivenError, a sentence, for what cannot be understood.
"""

from typing import NamedTuple

from ventwright.mixing.filters import efficiency
from ventwright.settings.emissions import Emission, emissions, published
from ventwright.settings.limits import limits
from ventwright.sizing.task import Range

UNITS = {
    "µg/h": ("µg", 1.0),
    "ug/h": ("µg", 1.0),
    "µg/min": ("µg", 60.0),
    "ug/min": ("µg", 60.0),
    "mg/h": ("µg", 1000.0),
    "1/h": ("1", 1.0),
    "1/min": ("1", 60.0),
    "1/s": ("1", 3600.0),
}
"""Of emissions: the unit of amounts, and by what it is multiplied to be an hour's."""

PER_CM3 = 1e6

_LEAST, _MOST = 1e-9, 1e21
"""What amounts and levels may be: all of it can be reckoned with, and more than all is real."""

VAPOURS = ("tvoc", "styrene", "caprolactam", "lactide")


class GivenError(ValueError):
    """Something that was given cannot be used; a sentence."""


class Source(NamedTuple):
    """An emission and where it is from."""

    emission: Range
    """Amount an hour."""
    unit: str
    """µg or 1."""
    says: str
    vapour: bool = False
    published: bool = False


def by_hand(text: str, unit: str) -> Source:
    """Take `2500` or `600-2500` in one of UNITS."""
    amount, factor = UNITS[unit]
    try:
        low, _, high = text.replace("–", "-").partition("-") if "e-" not in text else (text, "", "")
        found = Range(float(low), float(high or low)).times(factor)
    except ValueError:
        raise GivenError(f'"{text}" is no emission: give 2500, or 600-2500 for a range.') from None
    if not _LEAST <= found.low <= found.high <= _MOST:
        raise GivenError(
            f'"{text}" is no emission: it must be above 0 and finite, the lower end first.'
        )
    return Source(found, amount, f"{text} {unit} by hand")


def from_table(material: str, quantity: str) -> Source:
    """Take all that the literature table has of a material and a quantity, widest ends."""
    found = published(quantity, material)
    if not found:
        there = sorted({row.quantity for row in emissions().values() if row.covers(material)})
        said = f"; of it there is: {', '.join(there)}" if there else ""
        raise GivenError(f"The literature table has no {quantity} of {material}{said}.")
    rates = [row.hourly for row in found]
    emission = Range(min(low for low, _, _ in rates), max(high for _, high, _ in rates))
    amount = "1" if rates[0][2] == "1/h" else "µg"
    says = "; ".join(_cited(row) for row in found)
    return Source(emission, amount, says, quantity in VAPOURS, published=True)


def _cited(row: Emission) -> str:
    rate = f"{row.low:g}" if row.low == row.high else f"{row.low:g} to {row.high:g}"
    return f"{row.material}, {rate} {row.unit} ({row.source}, {row.mark})"


def limit(text: str, amount: str) -> tuple[float, str]:
    """Take a limit as µg/m³ or 1/cm³ by hand, or by its name in the table; says which."""
    try:
        value = float(text)
    except ValueError:
        return _named(text, amount)
    if not _LEAST <= value <= _MOST:
        raise GivenError(f"A limit of {text} is none; it must be above 0 and finite.")
    unit = "1/cm³" if amount == "1" else "µg/m³"
    return value * (PER_CM3 if amount == "1" else 1.0), f"{value:g} {unit} by hand"


def _named(text: str, amount: str) -> tuple[float, str]:
    found = limits().get(text)
    if found is None:
        names = ", ".join(key for key, row in limits().items() if _fits(row.unit))
        raise GivenError(f'"{text}" is no number and no limit of the table: {names}.')
    if amount == "1":
        raise GivenError(f"{text} is a mass and the emission is counted: give a limit in 1/cm³.")
    try:
        return found.in_unit("µg/m³"), found.sentence()
    except ValueError as error:
        raise GivenError(f"{text} cannot be used here: {error}.") from error


def _fits(unit: str) -> bool:
    return unit in ("µg/m³", "mg/m³")


def single_pass(text: str) -> float:
    """Take a filter class, or a share from 0 to 1."""
    try:
        share = float(text)
    except ValueError:
        try:
            return efficiency(text)
        except ValueError as error:
            raise GivenError(f"{error}; or give a share such as 0.7.") from error
    if not 0 < share <= 1:
        raise GivenError(f"A filter that takes {text} of the air's load is none: 0 to 1.")
    return share
