"""When a person is in the room: hours of a week as people write them, `mon-fri 08:00-13:00`.

It must not know whose hours they are, nor what is measured.
"""

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import NamedTuple

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY = "|".join(_DAYS)
_SHAPE = re.compile(
    rf"(?:({_DAY})(?:-({_DAY}))? )?([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-3]|24):([0-5]\d)", re.ASCII
)
ALLOWED = 'hours such as "mon-fri 08:00-13:00", "sat 10:00-12:00" or "08:00-13:00" are needed'

_TIME = re.compile(r"([01]\d|2[0-3]):([0-5]\d)", re.ASCII)
TIME_ALLOWED = 'a time of day such as "18:00" is needed'

Span = tuple[int, int]
"""From and to, Unix ms."""


class Hours(NamedTuple):
    """Hours that come back: on which days of the week (0 is Monday), and minutes of the day."""

    days: frozenset[int]
    begin: int
    end: int
    """Up to 24 x 60; at or before `begin` it is the next day's."""

    def on(self, day: date) -> Span | None:
        """Give the hours of a day by the local clock; None if it is not one of the days."""
        if day.weekday() not in self.days:
            return None
        after = day if self.end > self.begin else day + timedelta(1)
        return _moment(day, self.begin), _moment(after, self.end)


def _moment(day: date, minute: int) -> int:
    full, rest = divmod(minute, 24 * 60)
    at = datetime(day.year, day.month, day.day) + timedelta(full, minutes=rest)
    return round(at.timestamp() * 1000)


def parse_hours(text: str) -> Hours:
    """Read hours as people write them; raises ValueError that says what is allowed."""
    match = _SHAPE.fullmatch(" ".join(text.lower().split()).replace(" - ", "-"))
    if match is None:
        raise ValueError(ALLOWED)
    begin = 60 * int(match[3]) + int(match[4])
    end = 60 * int(match[5]) + int(match[6])
    if begin == end or end > 24 * 60:
        raise ValueError(ALLOWED)
    return Hours(_days(match[1], match[2]), begin, end)


def _days(first: str | None, last: str | None) -> frozenset[int]:
    if first is None:
        return frozenset(range(7))
    begin = _DAYS.index(first)
    end = _DAYS.index(last) if last else begin
    return frozenset((begin + n) % 7 for n in range((end - begin) % 7 + 1))


def spans_of(hours: Iterable[Hours], day: date) -> list[Span]:
    """Give the spans of a day that some hours cover, by time and without overlap."""
    found = sorted(span for one in hours if (span := one.on(day)))
    merged: list[Span] = []
    for begin, end in found:
        if merged and begin <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((begin, end))
    return merged


def parse_time(text: str) -> int:
    """Read a time of day and give its minute of the day; raises ValueError."""
    match = _TIME.fullmatch(text.strip())
    if match is None:
        raise ValueError(TIME_ALLOWED)
    return 60 * int(match[1]) + int(match[2])
