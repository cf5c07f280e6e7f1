"""A CSV file as rows of time and values: a `time` column, and columns named `part.quantity`.

Knows the file; knows no configuration and no rule.
"""

import csv
import math
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple, NoReturn

from ventwright.replaying.errors import ReplayError
from ventwright.settings.findings import listed, printable
from ventwright_drivers.quantities import QUANTITIES

TIME = "time"
_NOTHING = frozenset({"", "nan", "na", "n/a", "null", "none", "-"})
_NAMES = "a column is named time or part.quantity, such as bench.pm2_5"


_FIRST_YEAR, _LAST_YEAR = 1980, 2199
"""What clocks of machines can be set to, and a mistyped year hardly is."""

_WITH_UNIT = re.compile(r"(.*\S)\s*\((.*)\)")
_ADDED = (" quality", " lowest", " highest", " coverage")


class Row(NamedTuple):
    """A line of the file: Unix time in ms, and a value (None: none) a column."""

    line: int
    t: int
    values: list[float | None]


class Table:
    """A CSV file."""

    def __init__(self, path: Path) -> None:
        """Read the head of the file; raises ReplayError."""
        self._path = path
        names = next(self._lines(), (1, []))[1]
        names = [self._named(name.strip()) for name in names]
        self._check(names)
        self._time = names.index(TIME)
        self._places = [n for n, name in enumerate(names) if name not in ("", TIME)]
        self.columns = [names[place] for place in self._places]
        """The columns with values, as `part.quantity`."""
        self._width = len(names)
        self.naive = False
        """Whether some time had no offset from UTC, and was taken as UTC."""
        self.repeated = 0
        """Rows that repeat the time before them."""

    def _refuse(self, line: int, why: str) -> NoReturn:
        raise ReplayError(f"{printable(str(self._path))}, line {line}: {why}.")

    def _lines(self) -> Iterator[tuple[int, list[str]]]:
        """Read lines that are not empty, with their numbers."""
        line = 0
        try:
            with self._path.open(encoding="utf-8-sig", newline="") as file:
                reader = csv.reader(file, strict=True)
                for cells in reader:
                    line = reader.line_num
                    if cells:
                        yield line, cells
        except OSError as error:
            raise ReplayError(f"{self._path} cannot be read: {error.strerror}.") from None
        except UnicodeDecodeError:
            raise ReplayError(f"{self._path} is not UTF-8 text.") from None
        except csv.Error as error:
            self._refuse(line + 1, f"is no line of a CSV file: {error}")

    def _named(self, head: str) -> str:
        """Take the unit off a head such as `bench.pm2_5 (µg/m³)`; "" for what `export` adds."""
        found = _WITH_UNIT.fullmatch(head)
        name, unit = found.groups() if found else (head, "")
        if name.endswith(_ADDED):
            return ""
        quantity = QUANTITIES.get(name.partition(".")[2])
        if quantity and unit and unit != quantity.unit:
            self._refuse(1, f'"{printable(head[:60])}" must be in {quantity.unit}')
        return name

    def _check(self, names: list[str]) -> None:
        if TIME not in names:
            self._refuse(1, f'no column is named "time" (separated by commas); {_NAMES}')
        filled = [name for name in names if name]
        if twice := next((name for name in filled if filled.count(name) > 1), None):
            self._refuse(1, f'two columns are named "{printable(twice)}"')
        for name in filled:
            part, _, quantity = name.partition(".")
            if name != TIME and not (part and quantity in QUANTITIES):
                known = listed(QUANTITIES)
                shown = printable(name[:60])
                self._refuse(1, f'"{shown}" is no column; {_NAMES}, and quantities are {known}')

    def rows(self) -> Iterator[Row]:
        """Read the rows; raises ReplayError at the first that cannot be read or is too early."""
        lines, before, self.repeated = self._lines(), -1 << 62, 0
        next(lines)
        for line, cells in lines:
            if len(cells) != self._width:
                self._refuse(line, f"has {len(cells)} cells, and the head has {self._width}")
            t = self._when(line, cells[self._time])
            if t <= before:
                self._repeats(line, t, before)
            before = t
            yield Row(line, t, self._values(line, cells))

    def _repeats(self, line: int, t: int, before: int) -> None:
        if t < before:
            self._refuse(line, "is earlier than the line before it; rows are needed in time order")
        self.repeated += 1

    def _when(self, line: int, text: str) -> int:
        try:
            time = datetime.fromisoformat(text.strip())
        except ValueError:
            shown = printable(text[:40])
            example = "2026-09-21T14:03:05+02:00"
            self._refuse(line, f'"{shown}" is no time; ISO 8601 is needed, such as {example}')
        if not _FIRST_YEAR <= time.year <= _LAST_YEAR:
            self._refuse(line, f"its year is {time.year}; {_FIRST_YEAR} to {_LAST_YEAR} is allowed")
        if time.tzinfo is None:
            self.naive = True
            time = time.replace(tzinfo=UTC)
        return round(time.timestamp() * 1000)

    def _values(self, line: int, cells: list[str]) -> list[float | None]:
        try:
            values: list[float | None] = [float(cells[place]) for place in self._places]
        except ValueError:
            return [self._value(line, cells[place]) for place in self._places]
        return [None if v is not None and math.isnan(v) else v for v in values]

    def _value(self, line: int, cell: str) -> float | None:
        text = cell.strip()
        if text.lower() in _NOTHING:
            return None
        try:
            return float(text)
        except ValueError:
            shown = printable(text[:40])
            self._refuse(line, f'"{shown}" is no number; an empty cell stands for no value')
