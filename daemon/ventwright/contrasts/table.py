"""Reads repeats from somebody's CSV file, a line a repeat or a column a condition.

Long: condition, value and, if there is one, batch; with a header under these names in any order,
else in this order. Wide: a header of the conditions, their repeats below. Commas, semicolons, tabs
or spaces between; decimal commas where they part no cells; # begins a remark; "<5" is a bound.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from ventwright.commissioning.columns import text_of
from ventwright.contrasts.sample import CompareError, Sample

COLUMNS = ("condition", "value", "batch")
_MOST_LETTERS = 1 << 20
_NUMBER = re.compile(r"<?\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)")
_MOST = Fraction(10) ** 100
_NAMED = f"a header names its columns {', '.join(COLUMNS)}"

Row = tuple[str, list[str]]
"""Where it stands, and its cells."""


class _Marks(NamedTuple):
    """What parts cells, and what may stand for a decimal point."""

    cells: str
    point: str


def read_table(path: Path) -> list[Sample]:
    """Read the repeats of a file; raises CompareError with line, found and allowed."""
    try:
        text = text_of(path.read_bytes())
    except UnicodeDecodeError as error:
        raise CompareError(
            f"{path} is no text in UTF-8; a table of condition, value and batch is needed"
        ) from error
    except OSError as error:
        raise CompareError(f"{path} cannot be read: {error.strerror}") from error
    if len(text) > _MOST_LETTERS:
        raise CompareError(f"{path} is larger than a million letters: no table of repeats is")
    numbered = enumerate(text.splitlines(), 1)
    lines = [(n, line) for n, line in numbered if line.strip(" ,;\t") and line.lstrip()[0] != "#"]
    if not lines:
        raise CompareError(f"{path} is empty; a line a repeat is needed: condition, value, batch")
    marks = _marks(lines[0][1])
    rows = [(f"{path}, line {n}", _cells(f"{path}, line {n}", line, marks)) for n, line in lines]
    return list(_samples(rows, marks.point))


def _marks(first: str) -> _Marks:
    mark = max(";\t,", key=first.count)
    if mark not in first:
        return _Marks(" ", ",")
    return _Marks(mark, "," if mark != "," else ".")


def _cells(where: str, line: str, marks: _Marks) -> list[str]:
    if marks.cells == " ":
        return line.split()
    try:
        (row,) = csv.reader([line], delimiter=marks.cells)
    except (csv.Error, ValueError) as error:
        raise CompareError(f"{where} is no line of a table: {error}") from error
    return [cell.strip() for cell in row]


def _samples(rows: Sequence[Row], point: str) -> Iterator[Sample]:
    head = [cell.casefold() for cell in rows[0][1]]
    if "condition" in head and "value" in head:
        places = {name: head.index(name) for name in COLUMNS if name in head}
        yield from _long(rows[1:], places, point)
    elif _is_number(rows[0][1][1:2], point):
        yield from _long(rows, {"condition": 0, "value": 1, "batch": 2}, point)
    elif _is_wide(rows, point):
        yield from _wide(rows, point)
    else:
        try:
            yield from _long(rows[1:], {"condition": 0, "value": 1, "batch": 2}, point)
        except CompareError as error:
            raise CompareError(f"{error}; {_NAMED}") from None


def _is_number(cells: Sequence[str], point: str) -> bool:
    return bool(cells) and all(_NUMBER.fullmatch(cell.replace(point, ".")) for cell in cells)


def _is_wide(rows: Sequence[Row], point: str) -> bool:
    """Tell whether names stand above numbers; raises CompareError where both readings are likely.

    Two columns of numbers, the first of which repeats itself, may be conditions by number.
    """
    head, body = rows[0][1], [row for _, row in rows[1:]]
    filled = [[cell for cell in row if cell] for row in body]
    if not body or len(head) < 2 or not all(_is_number(row, point) for row in filled):
        return False
    first = [row[0] for row in body]
    twice = all(first) and len(body) > 2 and len(set(first)) <= len(body) / 2
    if len(head) == 2 and twice:
        raise CompareError(
            f'{rows[0][0]}: are "{head[0]}" and "{head[1]}" two conditions, or is the first column '
            f"the condition? {_NAMED}"
        )
    return True


def _wide(rows: Sequence[Row], point: str) -> Iterator[Sample]:
    names = rows[0][1]
    order = 0
    for where, row in rows[1:]:
        if len(row) > len(names) and any(row[len(names) :]):
            raise CompareError(f"{where}: more cells than the {len(names)} conditions above")
        for name, cell in zip(names, row, strict=False):
            if cell:
                yield _sample(f"{where}, {name}", name, cell, "", order, point)
                order += 1


def _long(rows: Sequence[Row], places: dict[str, int], point: str) -> Iterator[Sample]:
    for order, (where, row) in enumerate(rows):
        if len(row) <= max(places["condition"], places["value"]):
            raise CompareError(f"{where}: a condition and a value are needed")
        place = places.get("batch", len(row))
        batch = row[place] if place < len(row) else ""
        name, text = row[places["condition"]], row[places["value"]]
        yield _sample(where, name, text, batch, order, point)


def _sample(where: str, name: str, text: str, batch: str, order: int, point: str) -> Sample:
    """Make a repeat of its words; `point`: what may stand for a decimal point in them."""
    if not name:
        raise CompareError(f"{where}: a condition and a value are needed, and the condition is not")
    decimal = text.replace(point if point in text else ",", ".")
    found = _NUMBER.fullmatch(decimal)
    value = Fraction(found[1]) if found else None
    if value is None:
        raise CompareError(f'{where}: "{text}" is no number; a repeat needs one, such as 12.5')
    if abs(value) > _MOST or 0 < abs(value) < 1 / _MOST:
        raise CompareError(f"{where}: {text} is out of range; 1e-100 to 1e100 are possible")
    batches = {"batch": batch} if batch else {}
    return Sample(where, name, value, batches, order, decimal.startswith("<"))
