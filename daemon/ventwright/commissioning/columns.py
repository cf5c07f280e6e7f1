"""Reads two columns, time and concentration, from somebody's file. Knows no model and no store.

Commas, semicolons, tabs or spaces between; a first line of names is passed over; lines that begin
with # and empty ones too. Times are numbers, or dates such as 2026-05-14T14:20:00.
"""

from datetime import datetime
from math import isfinite
from pathlib import Path
from typing import NamedTuple


class Columns(NamedTuple):
    """What a file held."""

    times: list[float]
    """In the unit of the file; hours since the first where they were dates."""
    values: list[float]
    dates: bool
    zero: float
    """What was taken off every time because they began far from 0; 0 otherwise."""


class ColumnsError(ValueError):
    """The file is not what is needed; a sentence that names file and line."""


def read_columns(path: Path) -> Columns:
    """Read a file; raises ColumnsError."""
    rows = [_row(path, number, line) for number, line in _lines(path)]
    found = [row for row in rows if row is not None]
    if not found:
        raise ColumnsError(f"{path}: no line with a time and a concentration in it")
    if len({dates for _, _, dates in found}) > 1:
        raise ColumnsError(f"{path}: some times are dates and some are numbers; use one of the two")
    found.sort(key=lambda row: row[0])
    times, values, dates = ([row[n] for row in found] for n in range(3))
    zero = _zero(times, bool(dates[0]))
    return Columns([t - zero for t in times], values, bool(dates[0]), zero)


def _lines(path: Path) -> list[tuple[int, str]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise ColumnsError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise ColumnsError(f"{path} is no text; a table of two columns is needed") from error
    numbered = enumerate(text.splitlines(), start=1)
    return [(n, line) for n, line in numbered if line.strip() and not line.startswith("#")]


def _row(path: Path, number: int, line: str) -> tuple[float, float, bool] | None:
    words = _words(line)
    if len(words) < 2 or not all(words[:2]):
        raise ColumnsError(
            f"{path}, line {number}: a time and a concentration are needed, found: {line.strip()}"
        )
    try:
        (time, dates), value = _time(words[0]), float(words[1])
    except ValueError:
        if number == 1:
            return None
        raise ColumnsError(f"{path}, line {number}: no two numbers: {line.strip()}") from None
    if not (isfinite(time) and isfinite(value)):
        raise ColumnsError(f"{path}, line {number}: no finite number: {line.strip()}")
    return time, value, dates


def _words(line: str) -> list[str]:
    for mark in (";", "\t", ","):
        if mark in line:
            words = [word.strip().strip('"') for word in line.split(mark)]
            return [word.replace(",", ".") for word in words] if mark != "," else words
    return line.split()


def _time(word: str) -> tuple[float, bool]:
    try:
        return float(word), False
    except ValueError:
        return datetime.fromisoformat(word).timestamp() / 3600, True


def _zero(times: list[float], dates: bool) -> float:
    """Begin at the first time where times are labels rather than a time since something."""
    far = times[0] > 5 * (times[-1] - times[0])
    return times[0] if dates or (far and times[0] > 0) else 0.0
