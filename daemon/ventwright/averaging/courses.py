"""Takes the one-minute means of channels from the store, over any time.

Where the store has minutes of them they are taken as they are, a part's hour at once; the hours
since then are summed from their readings. It must not know what the means are for.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from ventwright.averaging.course import Course
from ventwright.averaging.gather import good, pour
from ventwright.means.channel import reach_of
from ventwright.means.minutes import MINUTE_MS, Minutes
from ventwright.settings.hours import Span
from ventwright.settings.model import HOUR, Settings
from ventwright.storage.blocks import Column
from ventwright.storage.condensing import minutes_of
from ventwright.storage.reader import Boot, Reader, ReducedHour
from ventwright_drivers.quantities import QUANTITIES
from ventwright_drivers.registry import load

_BEFORE_MS = 2 * MINUTE_MS


class _Sink:
    """The minutes of one channel, summed from its readings."""

    def __init__(self, span: Span, period: int) -> None:
        self.minutes = Minutes(span[1], (span[1] - span[0]) // MINUTE_MS, period, reach_of(period))

    def take(self, times: Any, column: Column, sure: bool) -> None:  # noqa: ARG002
        for t, step in good(times, column):
            self.minutes.add(t, step)


def channels_of(settings: Settings) -> list[str]:
    """List the channels of the configuration."""
    return [f"{name}.{q}" for name, part in settings.parts.items() for q in part.quantities]


def courses(
    reader: Reader, settings: Settings, channels: Iterable[str], span: Span
) -> dict[str, Course]:
    """Give the minutes of some channels between two times (Unix ms); raises sqlite3.Error."""
    count = (span[1] - span[0]) // MINUTE_MS
    found = {channel: _empty(channel, span[0], count) for channel in channels}
    reduced = span[0]
    for boot in reader.boots().values():
        _take_hours(reader, settings, found, boot, span)
        end, _ = reader.reduced(boot.id)
        reduced = max(reduced, reduced if end is None else min(span[1], end + boot.offset))
    if reduced < span[1]:
        _take_readings(reader, settings, found, (reduced, span[1]))
    return found


def _empty(channel: str, start: int, count: int) -> Course:
    return Course(channel, QUANTITIES[channel.partition(".")[2]], start, count)


def _take_hours(
    reader: Reader, settings: Settings, found: Mapping[str, Course], boot: Boot, span: Span
) -> None:
    for name in {channel.partition(".")[0] for channel in found}:
        model = settings.parts[name].model
        first, last = span[0] - HOUR - boot.offset, span[1] - boot.offset
        for hour in reader.hours(name, boot.id, first, last):
            if hour.part.model == model and hour.minutes:
                _take_hour(hour, found, hour.start + boot.offset)


def _take_hour(hour: ReducedHour, found: Mapping[str, Course], start: int) -> None:
    """Take the minutes of an hour; a damaged one costs itself only."""
    quantities = hour.part.quantities
    try:
        columns = minutes_of(hour.minutes or b"", len(quantities))
    except ValueError:
        return
    for quantity, (means, covers) in zip(quantities, columns, strict=True):
        if course := found.get(f"{hour.part.name}.{quantity}"):
            course.put_all(start, means, covers)


def _take_readings(
    reader: Reader, settings: Settings, found: Mapping[str, Course], span: Span
) -> None:
    sinks = {channel: _Sink(span, _period(settings, channel)) for channel in found}
    pour(reader, settings, sinks, (span[0] - _BEFORE_MS, span[1]))
    for channel, sink in sinks.items():
        _put(found[channel], sink.minutes, span[0])


def _period(settings: Settings, channel: str) -> int:
    period: int = load(settings.parts[channel.partition(".")[0]].driver).period_ms
    return period


def _put(course: Course, minutes: Minutes, start: int) -> None:
    first = course.number(start)
    for number in range(minutes.count):
        sums = minutes.sums(minutes.count - number - 1, minutes.count - number)
        if sums.cover:
            mean = sums.area / sums.cover / course.quantity.per_unit
            course.put(first + number, mean, sums.cover / MINUTE_MS)
