"""Reads repeats from a CSV file: condition, value and, if there is one, batch.

With a header the columns may stand in any order under these names; without one in this order.
"""

import csv
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from ventwright.contrasts.sample import CompareError, Sample

COLUMNS = ("condition", "value", "batch")
_MOST_LETTERS = 1 << 20


def read_table(path: Path) -> list[Sample]:
    """Read the repeats of a file in UTF-8; raises CompareError with line, found and allowed."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            text = file.read(_MOST_LETTERS + 1)
    except UnicodeDecodeError as error:
        raise CompareError(
            f"{path} is no text in UTF-8; a table of condition, value and batch is needed"
        ) from error
    except OSError as error:
        raise CompareError(f"{path} cannot be read: {error.strerror}") from error
    if len(text) > _MOST_LETTERS:
        raise CompareError(f"{path} is larger than a million letters: no table of repeats is")
    return list(_samples(path, text))


def _samples(path: Path, text: str) -> Iterator[Sample]:
    head = text.partition("\n")[0]
    mark = max(",;\t", key=head.count)
    rows = [(n, row) for n, row in enumerate(csv.reader(text.splitlines(), delimiter=mark), 1)]
    rows = [(n, [cell.strip() for cell in row]) for n, row in rows if any(map(str.strip, row))]
    if not rows:
        raise CompareError(f"{path} is empty; a line a repeat is needed: condition, value, batch")
    places = _places([cell.lower() for cell in rows[0][1]])
    hint = "" if places else f"; a header names its columns {', '.join(COLUMNS)}"
    for order, (line, row) in enumerate(rows[bool(places) :]):
        try:
            found = places or {"condition": 0, "value": 1}
            yield _sample(f"{path}, line {line}", row, found, order, "." if mark == "," else ",")
        except CompareError as error:
            raise CompareError(f"{error}{'' if order else hint}") from None


def _places(head: Sequence[str]) -> dict[str, int]:
    """Find the columns by their names; empty where the first line is no header."""
    if "condition" not in head or "value" not in head:
        return {}
    return {name: head.index(name) for name in COLUMNS if name in head}


def _sample(
    where: str, row: Sequence[str], places: dict[str, int], order: int, point: str
) -> Sample:
    """Make a repeat of a row; `point`: what may stand for a decimal point in it."""
    if len(row) <= max(places["condition"], places["value"]):
        raise CompareError(f"{where}: a condition and a value are needed")
    text = row[places["value"]]
    try:
        value = Fraction(text.replace(point, "."))
    except (ValueError, ZeroDivisionError):
        raise CompareError(
            f'{where}: "{text}" is no number; a repeat needs one, such as 12.5'
        ) from None
    place = places.get("batch", 2 if len(places) == 2 and "batch" not in places else -1)
    batch = row[place] if 0 <= place < len(row) else ""
    return Sample(where, row[places["condition"]], value, {"batch": batch} if batch else {}, order)
