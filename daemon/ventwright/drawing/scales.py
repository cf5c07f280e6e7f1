"""Axes: round numbers and times of day, and where they stand. Knows no picture."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil, floor, log10

_ROUND = (1, 2, 5, 10)
_TIMES = (60, 300, 600, 900, 1800, 3600, 7200, 10_800, 14_400, 21_600, 43_200, 86_400, 172_800)
"""Seconds between marks of time."""


@dataclass(frozen=True)
class Scale:
    """A way from numbers to places; on the log scale equal ratios are equally long."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def at(self, value: float) -> float:
        """Give the place of a value, kept within the axis."""
        low, high = self._put(self.low), self._put(self.high)
        value = self._put(min(self.high, max(self.low, value)))
        share = (value - low) / (high - low) if high > low else 0.5
        return self.start + share * (self.end - self.start)

    def _put(self, value: float) -> float:
        return log10(value) if self.log else value


def ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Give round numbers from at most `low` to at least `high`."""
    step = round_step((high - low) / most)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [n * step for n in range(first, max(last, first + 1) + 1)]


def round_step(step: float) -> float:
    """Give the round number (1, 2 or 5 times a power of ten) at or above a step."""
    if step <= 0:
        return 1.0
    power = 10.0 ** floor(log10(step))
    return next(n * power for n in _ROUND if n * power >= step * (1 - 1e-9))


def log_ticks(low: float, high: float) -> list[float]:
    """Give marks of a log axis from at most `low` to at least `high`, both above 0."""
    first, last = floor(log10(low) + 1e-9), ceil(log10(high) - 1e-9)
    decades = max(1, last - first)
    inner = (1,) if decades > 3 else (1, 2, 5)
    marks = [n * 10.0**power for power in range(first, first + decades) for n in inner]
    marks.append(10.0 ** (first + decades))
    begin = max(n for n, mark in enumerate(marks) if mark <= low * (1 + 1e-9))
    stop = min(n for n, mark in enumerate(marks) if mark >= high * (1 - 1e-9))
    return marks[begin : max(stop, begin + 1) + 1]


def time_ticks(begin: int, end: int, most: int = 6) -> list[tuple[int, str]]:
    """Give round local times between two (Unix ms), each with its words."""
    seconds = next((s for s in _TIMES if (end - begin) / 1000 / s <= most), _TIMES[-1])
    day = datetime.fromtimestamp(begin / 1000).replace(hour=0, minute=0, second=0, microsecond=0)
    found = []
    for n in range(ceil((end / 1000 - day.timestamp()) / seconds) + 1):
        moment = day + timedelta(seconds=n * seconds)
        t = round(moment.timestamp() * 1000)
        if begin <= t <= end:
            found.append((t, f"{moment:%a %d}" if seconds >= 86_400 else f"{moment:%H:%M}"))
    return found


def short(value: float) -> str:
    """Write a number for an axis: 0.5, 20, 1500, 20 000 or 3e9."""
    if value and (abs(value) >= 1e6 or abs(value) < 1e-3):
        head, _, power = f"{value:.2g}".partition("e")
        head, power = (head, power) if power else f"{value:.1e}".split("e")
        return f"{float(head):g}e{int(power)}"
    return f"{value:,.10g}".replace(",", " ")
