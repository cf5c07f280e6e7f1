"""Takes the one-minute means of channels from the store, over any time."""

from collections.abc import Iterable
from typing import Any

from ventwright.averaging.course import Course
from ventwright.averaging.gather import good, pour
from ventwright.means.channel import reach_of
from ventwright.means.minutes import MINUTE_MS, Minutes
from ventwright.settings.hours import Span
from ventwright.settings.model import Settings
from ventwright.storage.blocks import Column
from ventwright.storage.reader import Reader
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
    sinks = {channel: _Sink(span, _period(settings, channel)) for channel in channels}
    pour(reader, settings, sinks, (span[0] - _BEFORE_MS, span[1]))
    return {channel: _course(channel, sink.minutes, span[0]) for channel, sink in sinks.items()}


def _period(settings: Settings, channel: str) -> int:
    period: int = load(settings.parts[channel.partition(".")[0]].driver).period_ms
    return period


def _course(channel: str, minutes: Minutes, start: int) -> Course:
    quantity = QUANTITIES[channel.partition(".")[2]]
    course = Course(channel, quantity, start, minutes.count)
    for number in range(minutes.count):
        sums = minutes.sums(minutes.count - number - 1, minutes.count - number)
        if sums.cover:
            mean = sums.area / sums.cover / quantity.per_unit
            course.put(number, mean, sums.cover / MINUTE_MS)
    return course
