"""Takes the last day of every channel from the store, minute by minute."""

from array import array
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from typing import NamedTuple

from ventwright.averaging.apart import EARLIER_MS, Apart, Sink
from ventwright.means.channel import Channel, reach_of
from ventwright.means.minutes import MINUTE_MS, Minutes
from ventwright.quality.marks import Quality
from ventwright.settings.model import HOUR, PartEntry, Settings
from ventwright.storage.blocks import Column
from ventwright.storage.reader import Reader
from ventwright.storage.spans import between, newest
from ventwright_drivers.quantities import QUANTITIES, Quantity
from ventwright_drivers.registry import load

_KEPT = 25 * 60  # minutes: the longest day, when the clocks go back
_RECENT_MS = 2 * MINUTE_MS
"""Readings reach the store within a minute; averages that end there are averages of now."""


class Stretch(NamedTuple):
    """A channel's last day."""

    channel: str
    part: PartEntry
    quantity: Quantity
    minutes: Minutes
    today: int
    """How many of the minutes are of the day of the end, by the local clock."""
    sure: bool
    """Whether the clock was known to be right when all of it was labelled."""


def good(times: Sequence[int], column: Column) -> Iterator[tuple[int, int]]:
    """Give the times and whole steps of the good readings of a column, as `pour` gave it."""
    for t, step, mark in zip(times, column.steps, column.marks, strict=True):
        if mark == Quality.GOOD and step is not None:
            yield t, step


class _Readings:
    """The good readings of one channel: Unix ms and whole steps."""

    def __init__(self) -> None:
        self.times = array("q")
        self.steps = array("q")
        self.sure = True

    def take(self, times: Sequence[int], column: Column, sure: bool) -> None:
        self.sure &= sure
        for t, step in good(times, column):
            self.times.append(t)
            self.steps.append(step)


def end_of(reader: Reader, now: int) -> int:
    """Tell where averages of now end, Unix ms: with the newest stored reading, if it is new."""
    last = newest(reader)
    return last if last is not None and 0 <= now - last <= _RECENT_MS else now


def gather(reader: Reader, settings: Settings, end: int) -> Iterator[Stretch]:
    """Give the day before `end` (Unix ms) of every channel of the configuration.

    A damaged block costs itself only. Raises sqlite3.Error.
    """
    found = _readings(reader, settings, end)
    for name, entry in settings.parts.items():
        period: int = load(entry.driver).period_ms
        for quantity in entry.quantities:
            channel = f"{name}.{quantity}"
            readings = found[channel]
            minutes = _minutes(readings, end, period)
            today = min(_KEPT, (minutes.end - midnight(minutes.end)) // MINUTE_MS)
            yield Stretch(channel, entry, QUANTITIES[quantity], minutes, today, readings.sure)


def _readings(reader: Reader, settings: Settings, end: int) -> dict[str, _Readings]:
    found = {
        f"{name}.{q}": _Readings()
        for name, entry in settings.parts.items()
        for q in entry.quantities
    }
    pour(reader, settings, found, (end - 25 * HOUR - _RECENT_MS, end + _RECENT_MS))
    return found


def pour(
    reader: Reader, settings: Settings, into: Mapping[str, Sink], span: tuple[int, int]
) -> None:
    """Give the columns between two times (Unix ms) to what takes those of each channel.

    Readings that were judged although another part disagreed come as good ones. Parts of another
    model than the configured one are left out; a damaged block costs itself only. Raises
    sqlite3.Error.
    """
    pairs = _pairs(settings, into)
    into = {**into, **{name: one.side(n) for one in pairs for n, name in enumerate(one.names)}}
    pour_as_stored(reader, settings, into, (span[0] - (EARLIER_MS if pairs else 0), span[1]))
    for pair in pairs:
        pair.close()


def _pairs(settings: Settings, into: Mapping[str, Sink]) -> list[Apart]:
    """Put a pair of `[same_air.NAME]` before each sink that one concerns."""
    return [
        Apart(
            one,
            (_channel(settings, one.channels[0]), _channel(settings, one.channels[1])),
            (into.get(one.channels[0]), into.get(one.channels[1])),
        )
        for one in settings.same_air.values()
        if any(name in into for name in one.channels)
    ]


def _channel(settings: Settings, name: str) -> Channel:
    part, _, quantity = name.partition(".")
    period: int = load(settings.parts[part].driver).period_ms
    return Channel(name, QUANTITIES[quantity], period)


def pour_as_stored(
    reader: Reader, settings: Settings, into: Mapping[str, Sink], span: tuple[int, int]
) -> None:
    """Give the columns between two times (Unix ms) with the marks that they were stored with.

    Parts of another model than the configured one are left out; a damaged block costs itself only.
    Raises sqlite3.Error.
    """
    settled = {boot.offset: boot.settled for boot in reader.boots().values()}
    for offset, block in between(reader, *span):
        entry = settings.parts.get(block.part.name)
        if entry is None or entry.model != block.part.model:
            continue
        with suppress(ValueError):
            times, columns = block.open()
            labels = [t + offset for t in times]
            for quantity, column in zip(block.part.quantities, columns, strict=True):
                if sink := into.get(f"{block.part.name}.{quantity}"):
                    sink.take(labels, column, settled[offset])


def _minutes(readings: _Readings, end: int, period: int) -> Minutes:
    """Sum the readings; the end is the newest reading while the next is still to come."""
    reach = reach_of(period)
    if readings.times and 0 <= end - readings.times[-1] <= reach:
        end = readings.times[-1]
    minutes = Minutes(end, _KEPT, period, reach)
    for t, step in zip(readings.times, readings.steps, strict=True):
        minutes.add(t, step)
    return minutes


def midnight(t: int) -> int:
    """Tell when the local day began that `t` (Unix ms) is in, Unix ms."""
    day = datetime.fromtimestamp(t / 1000).astimezone()
    start = datetime(day.year, day.month, day.day)
    return round(start.timestamp() * 1000)
