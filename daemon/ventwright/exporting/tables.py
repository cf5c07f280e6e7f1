"""Writes rows of times and values as a CSV or a Parquet file, units included.

Knows files; knows neither the store nor what is measured.
"""

import csv
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TextIO

from ventwright.storage.rows import Head, Row

_ROWS_AT_ONCE = 20_000
NO_PARQUET = (
    "Parquet files need pyarrow, which is not installed: pip install 'ventwright[parquet]'; "
    "a CSV file needs nothing more."
)


class TooFewToolsError(Exception):
    """A library is missing; the text says what to do."""


def iso(t: int) -> str:
    """Write a time (Unix ms) in UTC: 2026-09-21T14:03:05.123Z."""
    seconds, ms = divmod(t, 1000)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{ms:03d}Z"


class Order:
    """Counts rows, and those that are earlier than a row before them: a clock had been wrong."""

    def __init__(self) -> None:
        """Begin with none."""
        self.rows = self.earlier = 0
        self._last: int | None = None

    def note(self, t: int) -> None:
        """Count a row of the time `t`."""
        self.rows += 1
        if self._last is not None and t < self._last:
            self.earlier += 1
        self._last = t if self._last is None else max(t, self._last)


def write_csv(file: TextIO, heads: list[Head], rows: Iterable[Row]) -> Order:
    """Write a head such as `bench.pm2_5 (µg/m³)` and the rows; raises OSError."""
    order, table = Order(), csv.writer(file, lineterminator="\n")
    table.writerow(["time", *(f"{h.name} ({h.unit})" if h.unit else h.name for h in heads)])
    for row in rows:
        order.note(row.t)
        table.writerow([iso(row.t), *(_text(cell) for cell in row.cells)])
    return order


def _text(cell: float | str | None) -> str:
    if isinstance(cell, float):
        return f"{cell:.10g}"
    return cell or ""


def write_parquet(path: Path, heads: list[Head], rows: Iterable[Row]) -> Order:
    """Write a column `time` (ms, UTC) and one a head, its unit in the column's metadata.

    Raises TooFewToolsError without pyarrow, OSError.
    """
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise TooFewToolsError(NO_PARQUET) from None
    schema = pyarrow.schema([_time(pyarrow), *(_field(pyarrow, head) for head in heads)])
    order = Order()
    with pyarrow.parquet.ParquetWriter(path, schema) as writer:
        _fill(rows, order, lambda held: writer.write_table(_table(pyarrow, schema, held)))
    return order


def _time(arrow: Any) -> Any:
    return arrow.field("time", arrow.timestamp("ms", tz="UTC"), nullable=False)


def _field(arrow: Any, head: Head) -> Any:
    kind = arrow.float64() if head.unit else arrow.string()
    return arrow.field(head.name, kind, metadata={"unit": head.unit} if head.unit else None)


def _fill(rows: Iterable[Row], order: Order, write: Callable[[list[Row]], None]) -> None:
    held: list[Row] = []
    for row in rows:
        order.note(row.t)
        held.append(row)
        if len(held) == _ROWS_AT_ONCE:
            write(held)
            held = []
    write(held)


def _table(arrow: Any, schema: Any, held: list[Row]) -> Any:
    columns = [[row.t for row in held]]
    columns += [[row.cells[n] for row in held] for n in range(len(schema) - 1)]  # type: ignore[misc]
    arrays = [arrow.array(c, field.type) for c, field in zip(columns, schema, strict=True)]
    return arrow.Table.from_arrays(arrays, schema=schema)
