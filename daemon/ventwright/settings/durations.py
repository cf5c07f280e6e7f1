"""Durations as people write them ("5 min", "1 h 30 min"), kept as whole milliseconds."""

import re
from typing import Any

UNITS_MS = {"ms": 1, "s": 1000, "min": 60_000, "h": 3_600_000, "d": 86_400_000}
UNITS_MS |= dict.fromkeys(("day", "days"), UNITS_MS["d"])
"""The units that may be written, and their length in ms."""

_TERM = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(ms|s|min|h|days?|d)(?![A-Za-z])\s*", re.ASCII)
_ALLOWED = 'a number and a unit (ms, s, min, h, d or days) in quotes, as in "5 min" or "1 h 30 min"'
_LONGEST_MS = 1e15


def parse_duration(text: object) -> int:
    """Read a duration and return ms; raises ValueError with what is allowed."""
    if isinstance(text, str):
        total, place = 0.0, 0
        while match := _TERM.match(text, place):
            total += float(match[1]) * UNITS_MS[match[2]]
            place = match.end()
        if place and place == len(text) and total < _LONGEST_MS:
            return round(total)
    raise ValueError(f"allowed is {_ALLOWED}")


def format_duration(ms: int) -> str:
    """Write a duration the way people do: "45 s", "5 min", "1 h 30 min", "2 d 3 h"."""
    if ms < 1000:
        return f"{ms} ms"
    left, words = round(ms / 1000), []
    for unit, size in (("d", 86_400), ("h", 3600), ("min", 60), ("s", 1)):
        count, left = divmod(left, size)
        if count:
            words.append(f"{count} {unit}")
    return " ".join(words[:2])


class DurationMark:
    """Tells the checker of the configuration that an int is a duration in ms, written as text."""

    def __get_pydantic_core_schema__(self, _source: Any, _handler: Any) -> Any:
        """Read text; anything else is a mistake."""
        from pydantic_core import core_schema

        return core_schema.no_info_plain_validator_function(parse_duration)
