"""The time that a report is about: a day, a week, or any other; local days, Unix ms."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from ventwright.averaging.gather import midnight
from ventwright.settings.model import DAY, MINUTE

Kind = Literal["day", "week", "span"]


@dataclass(frozen=True)
class Period:
    """A time with a name."""

    kind: Kind
    begins: int
    ends: int
    title: str
    file: str
    """What its files are called: `week-2026-09-21`."""

    def until(self, now: int) -> int:
        """Tell where it ends for a report that is made at `now`: what is to come is no gap."""
        return max(self.begins + MINUTE, min(self.ends, now // MINUTE * MINUTE))

    @property
    def days(self) -> list[tuple[int, int]]:
        """List its local days; the first and the last may be cut."""
        found, day = [], self.begins
        while day < self.ends:
            after = midnight(midnight(day) + DAY + DAY // 2)
            found.append((day, min(after, self.ends)))
            day = after
        return found


def _begin(day: date) -> int:
    return round(datetime(day.year, day.month, day.day).timestamp() * 1000)


def day_of(t: int) -> Period:
    """Give the local day that a time is in."""
    day = datetime.fromtimestamp(t / 1000).date()
    title = f"{day:%A}, {day.day} {day:%B %Y}"
    return Period("day", _begin(day), _begin(day + timedelta(1)), title, f"day-{day}")


def week_of(t: int) -> Period:
    """Give the week from Monday to Sunday that a time is in."""
    day = datetime.fromtimestamp(t / 1000).date()
    first = day - timedelta(day.weekday())
    last = first + timedelta(6)
    begin = f"{first.day} {first:%B}" if first.month != last.month else f"{first.day}"
    title = f"Week of {begin} to {last.day} {last:%B %Y}"
    return Period("week", _begin(first), _begin(last + timedelta(1)), title, f"week-{first}")


def span_of(begins: int, ends: int) -> Period:
    """Give any other time, to whole minutes; raises ValueError if it ends before it begins."""
    begins, ends = begins // MINUTE * MINUTE, ends // MINUTE * MINUTE
    if ends <= begins:
        raise ValueError("the end must be after the beginning")
    first, last = (datetime.fromtimestamp(t / 1000) for t in (begins, ends))
    words = [f"{t.day} {t:%B %Y %H:%M}" for t in (first, last)]
    return Period("span", begins, ends, " to ".join(words), f"span-{first:%Y-%m-%d-%H%M}")
