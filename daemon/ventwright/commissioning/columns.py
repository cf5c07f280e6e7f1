"""Reads two columns, time and concentration, from somebody's file. Knows no model and no store.

Commas, semicolons, tabs or spaces between; decimal commas where they cannot be taken for anything
else. Lines of names above the numbers are passed over; lines that begin with # and empty ones too.
Times are numbers, or dates such as 2026-05-14T14:20:00. A time without a value is a gap.
"""

import csv
import re
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

_GAPS = ("", "nan", "na", "n/a", "null", "-")
_COMMA = re.compile(r"^([+-]?\d*),(\d+(?:[eE][+-]?\d+)?)$")
_PLAIN = re.compile(r"[+-]?\d+(,\d+)?")
_WHOLE = re.compile(r"[+-]?\d+")
_NUMBER = re.compile(r"[+-]?[.,]?\d")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_CLOCK = re.compile(r"\d\d:\d\d")

MOST = 1e30
"""Beyond this no time and no level can be, either way."""


class Columns(NamedTuple):
    """What a file held."""

    times: list[float]
    """In the unit of the file; hours since the first where they were dates."""
    values: list[float]
    dates: bool
    zero: float
    """What was taken off every time because they began far from 0; 0 otherwise."""
    gaps: int = 0
    """Times without a value, which were left out."""


class ColumnsError(ValueError):
    """The file is not what is needed; a sentence that names file and line."""


class _Row(NamedTuple):
    time: float
    value: float | None
    dates: bool


def read_columns(path: Path) -> Columns:
    """Read a file; raises ColumnsError."""
    rows = [_row(path, number, line) for number, line in _below_names(_lines(path))]
    found = [(row.time, row.value, row.dates) for row in rows if row.value is not None]
    if not found:
        raise ColumnsError(f"{path}: no line with a time and a concentration in it")
    if len({dates for _, _, dates in found}) > 1:
        raise ColumnsError(f"{path}: some times are dates and some are numbers; use one of the two")
    found.sort(key=lambda row: row[0])
    times, values, dates = ([row[n] for row in found] for n in range(3))
    zero = _zero(times, bool(dates[0]))
    gaps = len(rows) - len(found)
    return Columns([t - zero for t in times], values, bool(dates[0]), zero, gaps)


def _lines(path: Path) -> list[tuple[int, str]]:
    try:
        text = text_of(path.read_bytes())
    except OSError as error:
        raise ColumnsError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise ColumnsError(
            f"{path} is no text; save it as a table of two columns in UTF-8 (CSV)"
        ) from error
    numbered = enumerate(text.splitlines(), start=1)
    return [(n, line) for n, line in numbered if line.strip() and not line.startswith("#")]


def text_of(raw: bytes) -> str:
    """Read UTF-8, UTF-16 with its mark, or the older code of a western desk.

    Raises UnicodeDecodeError for what is no text, as a spreadsheet's own file.
    """
    if raw.startswith((BOM_UTF16_LE, BOM_UTF16_BE)):
        return raw.decode("utf-16")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        if b"\0" in raw or raw.startswith(b"PK"):
            raise
        return raw.decode("latin-1")


def _below_names(lines: list[tuple[int, str]]) -> list[tuple[int, str]]:
    """Leave out the lines of names: those above the first that begins with a number."""
    for n, (_, line) in enumerate(lines):
        if _NUMBER.match(line.strip(' "')):
            return lines[n:]
    return []


def _row(path: Path, number: int, line: str) -> _Row:
    words, where = _words(line), f"{path}, line {number}"
    if len(words) < 2 or not words[0]:
        raise ColumnsError(f"{where}: a time and a concentration are needed, found: {line.strip()}")
    if len(words) > 2 and line.count(",") >= 2 and all(map(_WHOLE.fullmatch, words)):
        raise ColumnsError(
            f"{where}: which are the two columns of {line.strip()}? With decimal commas put "
            "semicolons between the columns; else leave only two"
        )
    gap = words[1].casefold() in _GAPS
    try:
        time, dates = _time(words[0])
    except (ValueError, OverflowError, OSError):
        raise ColumnsError(
            f"{where}: {words[0]} is no time: give a number, or a date such as 2026-05-14T14:20"
        ) from None
    try:
        value = 0.0 if gap else float(words[1])
    except ValueError:
        raise ColumnsError(f"{where}: {words[1]} is no concentration: {_hint(words[1])}") from None
    if not (abs(time) <= MOST and abs(value) <= MOST):
        raise ColumnsError(f"{where}: no number within {MOST:g}: {line.strip()}")
    return _Row(time, None if gap else value, dates)


def _hint(word: str) -> str:
    if word.startswith(("<", ">")):
        return "leave its place empty, or put the number to take for it"
    return "give a number, or leave its place empty"


def _words(line: str) -> list[str]:
    """Take a line apart: a date and a time of day in two words become one."""
    words = [_COMMA.sub(r"\1.\2", word) for word in _parted(line.strip())]
    if len(words) > 2 and _DAY.fullmatch(words[0]) and _CLOCK.match(words[1]):
        return [f"{words[0]}T{words[1]}", *words[2:]]
    return words


def _parted(line: str) -> list[str]:
    spaced = [word.strip('"') for word in line.split()]
    if len(spaced) == 2 and all(_PLAIN.fullmatch(word) for word in spaced):
        return spaced
    for mark in (";", "\t", ","):
        if mark in line:
            row = next(csv.reader([line], delimiter=mark, skipinitialspace=True))
            return [word.strip() for word in row]
    return spaced


def _time(word: str) -> tuple[float, bool]:
    try:
        return float(word), False
    except ValueError:
        return datetime.fromisoformat(word).timestamp() / 3600, True


def _zero(times: list[float], dates: bool) -> float:
    """Begin at the first time where times are labels rather than a time since something."""
    far = abs(times[0]) > 5 * (times[-1] - times[0])
    return times[0] if dates or far else 0.0
