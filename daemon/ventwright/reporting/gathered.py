"""What a report is made of, read from the store once: minutes of every channel, and what happened.

It must not know what is told of it.
"""

from collections.abc import Iterator
from contextlib import closing
from itertools import islice

from ventwright.averaging.course import Course
from ventwright.averaging.courses import channels_of, courses
from ventwright.reporting.happenings import happenings
from ventwright.reporting.periods import Period
from ventwright.settings.model import DAY, HOUR, MINUTE, Settings
from ventwright.storage.reader import Reader
from ventwright_drivers.quantities import QUANTITIES

_BEFORE = DAY
"""Means over a day end in the period, and begin up to a day before it."""

_EVER = 1 << 60


class Gathered:
    """What a report is made of: minutes of every channel, and what happened."""

    def __init__(self, settings: Settings, period: Period, now: int) -> None:
        """Read the store; raises sqlite3.Error."""
        self.settings, self.period = settings, period
        self.until = period.until(now)
        self.first = _BEFORE // MINUTE
        """The number of the period's first minute in each course."""
        self.since = period.begins
        """Where it begins to count: not before the store did, Unix ms."""
        with closing(Reader(settings.store.folder)) as reader:
            span = (period.begins - _BEFORE, self.until)
            self.since = max(period.begins, _beginning(reader, settings))
            self.courses = courses(reader, settings, channels_of(settings), span)
            self.happened = happenings(reader, self.until).within(period.begins, self.until)

    @property
    def main(self) -> Course:
        """The course of the channel that the report is mainly about."""
        return self.courses[main_channel(self.settings)]

    def day_mean(self, course: Course, span: tuple[int, int]) -> float | None:
        """Give the mean of some part of the period."""
        return course.mean(course.number(span[0]), course.number(span[1]))


def _beginning(reader: Reader, settings: Settings) -> int:
    """Tell when the store began, Unix ms; 0 if it holds nothing.

    With its first reading, or with its first hour where the readings of that are gone.
    """
    boots = reader.boots()
    first = [block.first + boots[block.boot].offset for block in reader.blocks(0, 1)]
    hours = [
        hour.start + boot.offset
        for boot in islice(boots.values(), 1)
        for name in settings.parts
        for hour in islice(reader.hours(name, boot.id, -_EVER, _EVER), 1)
    ]
    begun = min(hours, default=_EVER)
    reading = min(first, default=_EVER)
    found = reading if reading < begun + HOUR else begun
    return 0 if found == _EVER else found // MINUTE * MINUTE


_FIRST = ("pm2_5", "pm10")
"""Of several masses of one part those that guidelines are of come first."""


def main_channel(settings: Settings) -> str:
    """Choose what reports are mainly about: what an alarm is on, else what a guideline is of."""
    if settings.report.channel:
        return settings.report.channel
    alarmed = [alarm.channel for alarm in settings.alarms.values()]
    channels = channels_of(settings)
    told = [c for name in _FIRST for c in channels if c.partition(".")[2] == name]
    there = [*alarmed, *told, *channels]
    masses = [channel for channel in there if channel.partition(".")[2].startswith("pm")]
    plain = [c for c in there if not QUANTITIES[c.partition(".")[2]].raw]
    return (masses or plain or there)[0]


def hours_of(gathered: Gathered, course: Course) -> Iterator[tuple[int, float | None]]:
    """Give the hours of the period: when each begins (Unix ms) and its mean."""
    for begin in range(gathered.period.begins, gathered.until, HOUR):
        end = min(begin + HOUR, gathered.until)
        yield begin, gathered.day_mean(course, (begin, end))
