"""Reads one-minute and hourly figures of a channel, whether its readings are still there or not.

Hours that were not reduced yet are reduced in passing, from their readings; nothing is written.
"""

from collections.abc import Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Literal, NamedTuple

from ventwright.means.minutes import MINUTE_MS
from ventwright.storage.blocks import Block
from ventwright.storage.condensing import (
    HOUR_MS,
    LONGEST_REACH_MS,
    Figure,
    Figures,
    condense,
    of_hour,
    unpack_figures,
)
from ventwright.storage.reader import Boot, Reader, ReducedHour, StoredBlock
from ventwright.storage.spans import of_boot
from ventwright_drivers.quantities import QUANTITIES

Step = Literal["minute", "hour"]
_LENGTHS = {"minute": MINUTE_MS, "hour": HOUR_MS}


class Summary(NamedTuple):
    """What a channel was over a minute or an hour, in its unit."""

    start: int
    """When it begins, Unix ms: a whole minute or hour once the clock was known to be right."""
    mean: float
    low: float
    high: float
    coverage: float
    """The share of the time for which good readings speak, 0..1."""


class _Wanted(NamedTuple):
    part: str
    quantity: str
    step: Step
    since: int
    until: int


def summaries(folder: Path, channel: str, step: Step, since: int, until: int) -> Iterator[Summary]:
    """Give the figures of a channel that begin from `since` to before `until` (Unix ms), in order.

    Boots follow one another; one minute or hour that two boots share comes twice, each with its
    own coverage, and so do times in which the clock was set back. Nothing is given where no good
    reading is, nor minutes of times that are kept by the hour only. Raises sqlite3.Error.
    """
    part, _, quantity = channel.partition(".")
    wanted = _Wanted(part, quantity, step, since, until)
    with closing(Reader(folder)) as reader:
        for boot in reader.boots().values():
            yield from _of_boot(reader, boot, wanted)


def _of_boot(reader: Reader, boot: Boot, wanted: _Wanted) -> Iterator[Summary]:
    first, last = wanted.since - boot.offset, wanted.until - boot.offset
    for hour in reader.hours(wanted.part, boot.id, first - HOUR_MS, last):
        if wanted.quantity in hour.part.quantities:
            yield from _told(_reduced(hour, wanted), hour.start + boot.offset, wanted)
    end, block = reader.reduced(boot.id)
    begin = end if end is not None and end >= first - HOUR_MS else None
    first = (first - HOUR_MS if begin is None else begin) - LONGEST_REACH_MS
    found = of_boot(reader, boot, first, last + LONGEST_REACH_MS)
    columns = _columns((b for b in found if b.id > block), wanted)
    for start, minutes in _hour_by_hour(columns, boot.offset, begin):
        figures = minutes if wanted.step == "minute" else [of_hour(minutes)]
        yield from _told(figures, start + boot.offset, wanted)


def _reduced(hour: ReducedHour, wanted: _Wanted) -> Figures:
    place, width = hour.part.quantities.index(wanted.quantity), len(hour.part.quantities)
    body = hour.minutes if wanted.step == "minute" else hour.body
    try:
        return unpack_figures(body, width)[place] if body else []
    except ValueError:  # a damaged hour costs itself only
        return []


def _told(figures: Figures, start: int, wanted: _Wanted) -> Iterator[Summary]:
    length = _LENGTHS[wanted.step]
    for number, figure in enumerate(figures):
        t = start + number * length
        if figure and wanted.since <= t < wanted.until:
            yield _summary(t, figure, QUANTITIES[wanted.quantity].per_unit, length)


def _summary(t: int, figure: Figure, per_unit: int, length: int) -> Summary:
    low, high = figure.low / per_unit, figure.high / per_unit
    return Summary(t, figure.mean / per_unit, low, high, figure.cover / length)


def _columns(blocks: Iterable[StoredBlock], wanted: _Wanted) -> Iterator[Block]:
    """Open the blocks of the part and keep the one column; a damaged block costs itself only."""
    for block in blocks:
        if block.part.name == wanted.part and wanted.quantity in block.part.quantities:
            try:
                times, columns = block.open()
            except ValueError:
                continue
            yield Block(times, [columns[block.part.quantities.index(wanted.quantity)]])


def _hour_by_hour(
    blocks: Iterable[Block], offset: int, start: int | None
) -> Iterator[tuple[int, Figures]]:
    """Condense one hour after another, holding the blocks of one.

    Hours begin with whole hours of Unix time; the first at `start` (ms of the boot), if given.
    """
    held: list[Block] = []
    for block in blocks:
        if start is None:
            start = (block.times[0] + offset) // HOUR_MS * HOUR_MS - offset
        while block.times[0] >= start + HOUR_MS + LONGEST_REACH_MS:
            yield start, condense(held, 1, start)[0]
            start += HOUR_MS
            held = [b for b in held if b.times[-1] >= start - LONGEST_REACH_MS]
        held.append(block)
    while held and start is not None:
        yield start, condense(held, 1, start)[0]
        start += HOUR_MS
        held = [b for b in held if b.times[-1] >= start]
