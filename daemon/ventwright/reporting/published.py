"""What others published, beside one's own results: a band where units allow, a table always."""

from collections.abc import Iterable, Iterator

from ventwright.drawing.conditions import Band
from ventwright.drawing.scales import short
from ventwright.reporting.markup import Html, paragraph, table
from ventwright.settings.emissions import Emission, emissions, published

NEAREST = (
    "Nearest is not the same: printers emit mostly particles that optical parts do not see, and "
    "the signal of a gas sensor is no sum of compounds. Chambers may show up to ten times less "
    "than a room (Ding 2020). Take such a range for the order of magnitude."
)
NO_MASS = "No published emission of particles by mass could be read, so there is none to draw."


_UNITS = {"1/h": ("1/h", 1.0), "million particles/h": ("1/h", 1e-6), "µg/h": ("µg/h", 1.0)}
"""Units of one's own results: the table's unit, and by what its figures are multiplied."""


def band(quantity: str, unit: str) -> Band | None:
    """Give the middle half of many published tests that fits a quantity and unit, or None.

    The range of all publications spans six powers of ten: behind one's own results it says nothing.
    """
    theirs, factor = _UNITS.get(unit, ("", 1.0))
    for row in emissions().values():
        low, high, per_hour = row.hourly
        if (row.nearest, per_hour) == (quantity, theirs) and row.range.startswith("interquartile"):
            label = f"published: {row.range} ({row.source.partition(',')[0]})"
            return Band(low * factor, high * factor, label)
    return None


def beside(materials: Iterable[str], mass: bool) -> Html:
    """Write what is published of some materials; `mass`: one's own results are of mass."""
    rows = list(dict.fromkeys(_rows(materials)))
    told = [
        (
            f"{row.material}: {row.quantity}",
            f"{short(row.low)} to {short(row.high)} {row.unit}"
            if row.low < row.high
            else f"{short(row.low)} {row.unit}",
            f"{row.range}; {row.measured}",
            f"{row.source} ({row.mark})",
        )
        for row in rows
    ]
    heads = ("material", "emitted", "what it is", "source")
    return table(heads, told) + paragraph(f"{NEAREST} {NO_MASS if mass else ''}".strip())


def _rows(materials: Iterable[str]) -> Iterator[Emission]:
    found = list(materials) or ["any"]
    for quantity in dict.fromkeys(row.quantity for row in emissions().values()):
        for material in found:
            yield from published(quantity, material)
