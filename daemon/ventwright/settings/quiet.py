"""Quiet hours as people write them: "22:00-07:00", local time."""

import re

_HOURS = re.compile(r"([01]\d|2[0-3]):([0-5]\d)\s*-\s*([01]\d|2[0-3]):([0-5]\d)", re.ASCII)
ALLOWED = 'two different times of day in quotes, such as "22:00-07:00", are needed'


def parse_quiet(text: str) -> tuple[int, int]:
    """Read quiet hours and return begin and end, minutes of the day; raises ValueError."""
    match = _HOURS.fullmatch(text.strip())
    if match:
        begin = int(match[1]) * 60 + int(match[2])
        end = int(match[3]) * 60 + int(match[4])
        if begin != end:
            return begin, end
    raise ValueError(ALLOWED)


def is_quiet(hours: tuple[int, int], minute: int) -> bool:
    """Tell whether a minute of the day is within the hours, which may go over midnight."""
    begin, end = hours
    return begin <= minute < end if begin < end else minute >= begin or minute < end
