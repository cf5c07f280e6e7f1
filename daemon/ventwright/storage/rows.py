"""Reads the store as rows of one time and values each, as tables want them; it writes nothing.

A row is one sample of one part, or one minute or hour of all channels. Knows no file format.
"""

import heapq
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from ventwright.quality.marks import Quality
from ventwright.storage.blocks import Block, Column
from ventwright.storage.reader import Reader, StoredBlock
from ventwright.storage.spans import between
from ventwright.storage.summaries import Step, Summary, summaries
from ventwright_drivers.quantities import QUANTITIES

Cell = float | str | None


class Head(NamedTuple):
    """A column: its name, and the unit of what is in it."""

    name: str
    unit: str


class Row(NamedTuple):
    """A time, Unix ms, and a cell a column."""

    t: int
    cells: list[Cell]


class Wanted(NamedTuple):
    """What is to be read: channels and the time from `first` to before `until`, Unix ms."""

    channels: tuple[str, ...]
    first: int
    until: int


def unit_of(channel: str) -> str:
    """Give the unit of a channel."""
    return QUANTITIES[channel.partition(".")[2]].unit


def channels_in(folder: Path) -> list[str]:
    """List every channel that a store has ever had; raises sqlite3.Error."""
    reader = Reader(folder)
    try:
        parts = reader.parts()
    finally:
        reader.close()
    found = [f"{part.name}.{q}" for part in parts for q in part.quantities if q in QUANTITIES]
    return list(dict.fromkeys(found))


class Readings:
    """Every sample: a value a channel, in its unit."""

    def __init__(self, wanted: Wanted, marks: bool) -> None:
        """Give good values only; with `marks` give all, and a column of quality for each."""
        self._wanted, self._marks = wanted, marks
        self._place = {channel: n for n, channel in enumerate(wanted.channels)}
        self._width = len(wanted.channels)

    @property
    def heads(self) -> list[Head]:
        """The columns."""
        told = [Head(channel, unit_of(channel)) for channel in self._wanted.channels]
        marks = [Head(f"{channel} quality", "") for channel in self._wanted.channels]
        return told + marks * self._marks

    def rows(self, folder: Path) -> Iterator[Row]:
        """Give the rows in order of time within each boot; raises sqlite3.Error."""
        reader = Reader(folder)
        try:
            found = between(reader, self._wanted.first, self._wanted.until)
            for group in _commits(found):
                yield from heapq.merge(*[self._of(*one) for one in group], key=lambda row: row.t)
        finally:
            reader.close()

    def _of(self, offset: int, stored: StoredBlock) -> Iterator[Row]:
        """Give the rows of a block; a damaged one costs itself only."""
        names = [f"{stored.part.name}.{quantity}" for quantity in stored.part.quantities]
        kept = [(n, self._place[name]) for n, name in enumerate(names) if name in self._place]
        try:
            block = stored.open() if kept else Block([], [])
        except ValueError:
            return
        columns = [(place, block.columns[n], _scale(stored, n)) for n, place in kept]
        for at, t in enumerate(block.times):
            if self._wanted.first <= t + offset < self._wanted.until:
                cells = self._cells(at, columns)
                if any(cell is not None for cell in cells):
                    yield Row(t + offset, cells)

    def _cells(self, at: int, columns: list[tuple[int, Column, int]]) -> list[Cell]:
        cells: list[Cell] = [None] * (self._width * (1 + self._marks))
        for place, column, scale in columns:
            step, mark = column.steps[at], column.marks[at]
            if step is not None and (self._marks or mark == Quality.GOOD):
                cells[place] = step / scale
            if self._marks:
                cells[self._width + place] = Quality(mark).words
        return cells


def _scale(stored: StoredBlock, place: int) -> int:
    return QUANTITIES[stored.part.quantities[place]].per_unit


def _commits(blocks: Iterable[tuple[int, StoredBlock]]) -> Iterator[list[tuple[int, StoredBlock]]]:
    """Give together what overlaps in time: the blocks of one commit."""
    group: list[tuple[int, StoredBlock]] = []
    last = (0, 0)
    for offset, block in blocks:
        if group and (block.boot, block.first) > last:
            yield group
            group = []
        group.append((offset, block))
        last = max(last, (block.boot, block.last)) if len(group) > 1 else (block.boot, block.last)
    if group:
        yield group


_FIGURES = (("", None), (" lowest", None), (" highest", None), (" coverage", "1"))


class Means:
    """Minutes or hours: mean, lowest, highest and coverage a channel."""

    def __init__(self, wanted: Wanted, step: Step) -> None:
        """Give those that begin within the time wanted."""
        self._wanted, self._step = wanted, step

    @property
    def heads(self) -> list[Head]:
        """The columns."""
        return [
            Head(f"{channel}{word}", unit_of(channel) if unit is None else unit)
            for channel in self._wanted.channels
            for word, unit in _FIGURES
        ]

    def rows(self, folder: Path) -> Iterator[Row]:
        """Give the rows in order of time within each boot; raises sqlite3.Error."""
        told = [self._of(folder, n) for n in range(len(self._wanted.channels))]
        row: Row | None = None
        for start, place, summary in heapq.merge(*told, key=lambda one: one[0]):
            if row is not None and (row.t != start or row.cells[4 * place] is not None):
                yield row
                row = None
            row = row or Row(start, [None] * (4 * len(self._wanted.channels)))
            row.cells[4 * place : 4 * place + 4] = _cells(summary)
        if row is not None:
            yield row

    def _of(self, folder: Path, place: int) -> Iterator[tuple[int, int, Summary]]:
        """Give what one channel has, with the time and the channel's place."""
        channels, first, until = self._wanted
        for summary in summaries(folder, channels[place], self._step, first, until):
            yield summary.start, place, summary


def _cells(summary: Summary) -> list[Cell]:
    digits = (summary.mean, summary.low, summary.high, summary.coverage)
    return [round(value, 6) for value in digits]
