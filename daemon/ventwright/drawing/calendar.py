"""A calendar of hours or days as a timetable: columns are days, rows are hours or weeks.

A cell has its number in it, a step of lightness behind it, and hatching where nothing is known.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ventwright.drawing.shapes import (
    INK,
    PAPER,
    SOFT,
    STEPS,
    WIDTH,
    Area,
    Box,
    Picture,
    Shape,
    Words,
    ink_on,
)

_LEFT, _TOP, _ROW = 48.0, 34.0, 19.0
_GAP = 1.5


@dataclass(frozen=True)
class Cell:
    """An hour or a day: its mean, and whether an extractor ran or an alarm stood in it."""

    value: float | None
    extracted: bool = False
    alarmed: bool = False
    future: bool = False
    """Not over yet, or outside of what is reported: left empty."""


@dataclass(frozen=True)
class Grid:
    """Rows of cells under columns, and how dark each is: the bounds between the steps."""

    name: str
    title: str
    unit: str
    columns: Sequence[str]
    rows: Sequence[tuple[str, Sequence[Cell]]]
    bounds: Sequence[float]
    """Five numbers, rising."""
    foot: tuple[str, Sequence[Cell]] | None = None
    """A row of its own beneath: the means of whole columns."""


def calendar(grid: Grid) -> Picture:
    """Lay out the calendar."""
    width = (WIDTH - _LEFT) / len(grid.columns)
    shapes = list(_heads(grid, width))
    for row, (label, cells) in enumerate(grid.rows):
        shapes += _row(label, cells, _TOP + row * _ROW, width, grid.bounds)
    bottom = _TOP + len(grid.rows) * _ROW
    if grid.foot:
        shapes += _row(*grid.foot, bottom + 8, width, grid.bounds)
        bottom += 8 + _ROW
    shapes += _key(grid, bottom + 10)
    return Picture(grid.name, grid.title, _says(grid), bottom + 66, tuple(shapes))


def _heads(grid: Grid, width: float) -> Iterator[Shape]:
    for column, head in enumerate(grid.columns):
        middle = _LEFT + (column + 0.5) * width
        for line, text in enumerate(head.split(" ", 1)):
            yield Words(middle, 12 + 14 * line, text, 12, "middle", bold=line == 0)


def step_of(value: float, bounds: Sequence[float]) -> int:
    """Tell which step of lightness a value has, 0 to 5."""
    return sum(value >= bound for bound in bounds)


def _row(
    label: str, cells: Sequence[Cell], y: float, width: float, bounds: Sequence[float]
) -> Iterator[Shape]:
    yield Words(_LEFT - 6, y + 13.5, label, 11, "end", fill=SOFT)
    for column, cell in enumerate(cells):
        yield from _cell(cell, _LEFT + column * width, y, width, bounds)


def _cell(cell: Cell, x: float, y: float, width: float, bounds: Sequence[float]) -> Iterator[Shape]:
    x, wide, high = x + _GAP / 2, width - _GAP, _ROW - _GAP
    if cell.future:
        return
    if cell.value is None:
        yield Box(x, y, wide, high, PAPER, hatched=True)
        return
    fill = STEPS[step_of(cell.value, bounds)]
    ink = ink_on(fill)
    yield Box(x, y, wide, high, fill)
    if cell.extracted:
        yield Box(x + 2, y + 2, 3.5, high - 4, ink)
    if cell.alarmed:
        right, low = x + wide - 3, y + high - 5
        yield Area(((right - 8, low), (right, low), (right - 4, low - 8)), ink)
    yield Words(x + wide / 2, y + 13, number(cell.value), 11, "middle", fill=ink)


def number(value: float) -> str:
    """Write a cell's number: one decimal below 10, whole above."""
    return f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def _key(grid: Grid, y: float) -> Iterator[Shape]:
    width = (WIDTH - _LEFT) / len(STEPS)
    for place, fill in enumerate(STEPS):
        x = _LEFT + place * width
        yield Box(x, y, width - _GAP, 14, fill)
        lowest = "0" if not place else f"{grid.bounds[place - 1]:g}"
        more = "+" if place == len(STEPS) - 1 else ""
        yield Words(x, y + 26, f"{lowest}{more}", 11, fill=SOFT)
    yield Words(_LEFT - 6, y + 11, grid.unit, 10, "end", fill=SOFT)
    low = y + 45
    yield Box(_LEFT, low - 10, 3.5, 12, INK)
    yield Words(_LEFT + 8, low, "extractor ran", 11)
    yield Area(((_LEFT + 104, low), (_LEFT + 112, low), (_LEFT + 108, low - 8)), INK)
    yield Words(_LEFT + 116, low, "alarm stood", 11)
    yield Box(_LEFT + 208, low - 10, 20, 12, PAPER, hatched=True)
    yield Words(_LEFT + 234, low, "not known", 11)


def _says(grid: Grid) -> str:
    known = [
        (cell.value, head, label)
        for label, cells in grid.rows
        for head, cell in zip(grid.columns, cells, strict=True)
        if cell.value is not None
    ]
    if not known:
        return "Nothing is known of this time."
    value, head, label = max(known)
    highest = f"{number(value)} {grid.unit}, {head} {label}"
    return f"{len(known)} cells with a mean; the highest is {highest}."
