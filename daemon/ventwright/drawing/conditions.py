"""Conditions side by side: every print a ring, the middle a dot, its interval a bar."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap

from ventwright.drawing.scales import Scale, log_ticks, short, ticks
from ventwright.drawing.shapes import (
    FAINT,
    INK,
    PAPER,
    SOFT,
    STEPS,
    WIDTH,
    Box,
    Dot,
    Line,
    Picture,
    Shape,
    Words,
)

_LEFT, _RIGHT, _TOP, _ROW = 10.0, WIDTH - 14, 30.0, 48.0


@dataclass(frozen=True)
class Row:
    """One condition."""

    label: str
    value: float | None
    low: float | None = None
    high: float | None = None
    singles: Sequence[float] = ()
    """The value of every print."""
    says: str = ""
    """Its figure in words, at the right."""


@dataclass(frozen=True)
class Band:
    """A published range that is drawn behind."""

    low: float
    high: float
    label: str


@dataclass(frozen=True)
class SideBySide:
    """What is compared."""

    name: str
    title: str
    unit: str
    rows: Sequence[Row]
    log: bool = True
    at: float | None = None
    """A value with a line of its own, as 1 for ratios."""
    at_label: str = ""
    band: Band | None = None


def side_by_side(drawn: SideBySide) -> Picture:
    """Lay out the rows; raises ValueError if there is not one value to draw."""
    values = _values(drawn)
    if not values:
        raise ValueError("nothing is known to be drawn")
    marks = (
        log_ticks(min(values), max(values)) if drawn.log else ticks(min(0, *values), max(values))
    )
    across = Scale(marks[0], marks[-1], _LEFT, _RIGHT, drawn.log)
    bottom = _TOP + _ROW * len(drawn.rows)
    shapes = [*_axis(drawn, marks, across, bottom), *_behind(drawn, across, bottom)]
    for place, row in enumerate(drawn.rows):
        shapes += _row(row, _TOP + place * _ROW, across)
    height = bottom + 40 + (2 + 14 * len(_label(drawn.band)) if drawn.band else 0)
    return Picture(drawn.name, drawn.title, _says(drawn), height, tuple(shapes))


def _label(band: Band) -> list[str]:
    """Break what a band is into lines that fit."""
    return wrap(band.label, int((WIDTH - _LEFT - 26) / 6.9))


def _values(drawn: SideBySide) -> list[float]:
    found: list[float | None] = [drawn.at]
    for row in drawn.rows:
        found += [row.value, row.low, row.high, *row.singles]
    if drawn.band:
        found += [drawn.band.low, drawn.band.high]
    return [value for value in found if value is not None and (value > 0 or not drawn.log)]


def _behind(drawn: SideBySide, across: Scale, bottom: float) -> Iterator[Shape]:
    if band := drawn.band:
        x, end = across.at(band.low), across.at(band.high)
        for place in range(len(drawn.rows)):
            high = _TOP + place * _ROW + 18
            yield Box(x, high, max(2.0, end - x), 24, STEPS[1])
        yield Box(_LEFT, bottom + 36, 20, 12, STEPS[1])
        for line, text in enumerate(_label(band)):
            yield Words(_LEFT + 26, bottom + 46 + 14 * line, text, 11)
    if drawn.at is not None:
        x = across.at(drawn.at)
        for place in range(len(drawn.rows)):
            middle = _TOP + place * _ROW + 30
            yield Line(((x, middle - 11), (x, middle + 11)), INK, 1.4, dashed=True)
        anchor = "start" if x < WIDTH / 2 else "end"
        yield Words(x, bottom + 34, drawn.at_label, 11, anchor, fill=SOFT)


def _axis(
    drawn: SideBySide, marks: Sequence[float], across: Scale, bottom: float
) -> Iterator[Shape]:
    yield Words(0, 11, drawn.unit, 11, fill=SOFT)
    yield Line(((_LEFT, bottom), (_RIGHT, bottom)), SOFT, 1)
    reach = -1e9
    for value in marks:
        x, text = across.at(value), short(value)
        yield Line(((x, bottom), (x, bottom + 4)), SOFT, 1)
        for place in range(len(drawn.rows)):
            middle = _TOP + place * _ROW + 30
            yield Line(((x, middle - 10), (x, middle + 10)), FAINT, 0.8)
        half = 3.4 * len(text)
        kept = min(max(x, half), WIDTH - half)
        if kept - half > reach:
            reach = kept + half + 4
            yield Words(kept, bottom + 18, text, 11, "middle", fill=SOFT)


def _row(row: Row, y: float, across: Scale) -> Iterator[Shape]:
    room = int((WIDTH - _LEFT - 6.6 * len(row.says)) / 8.2)
    label = row.label if len(row.label) <= room else f"{row.label[: max(1, room - 1)]}…"
    yield Words(_LEFT, y + 13, label, 13, bold=True)
    yield Words(WIDTH, y + 13, row.says, 12, "end")
    middle = y + 30
    if row.low is not None and row.high is not None:
        low, high = across.at(row.low), across.at(row.high)
        yield Box(low, middle - 5, max(1.5, high - low), 10, STEPS[2])
    for value in row.singles:
        yield Dot(across.at(value), middle, 3.4, PAPER)
    if row.value is not None:
        x = across.at(row.value)
        yield Line(((x, middle - 9), (x, middle + 9)), INK, 3)


def _says(drawn: SideBySide) -> str:
    return "; ".join(f"{row.label}: {row.says or 'not known'}" for row in drawn.rows) + "."
