"""The edge events of emulated GPIO lines: what the kernel makes of changing levels.

A level counts once it has held for the debounce time, each edge that counts gets a number, and
of more than 16 events a line the oldest are lost (from memory). Source: protocols.md section 23.
"""

from collections import Counter, deque
from collections.abc import Mapping
from typing import NamedTuple

from gpiod import EdgeEvent
from gpiod.line import Edge
from gpiod.line_settings import LineSettings

_EVENTS_A_LINE = 16


class _Level(NamedTuple):
    """A level that a line took, not yet known to hold."""

    at: int
    high: bool


class EdgeQueue:
    """The events of one request."""

    def __init__(self, lines: Mapping[int, LineSettings], levels: list[bool]) -> None:
        """Watch lines that have these levels now."""
        self._lines = lines
        self._held = {line: levels[line] for line in lines}
        self._new: dict[int, _Level] = {}
        self._numbers: Counter[int] = Counter()
        self._events: deque[EdgeEvent] = deque(maxlen=_EVENTS_A_LINE * len(lines))

    def change(self, line: int, at: int, high: bool) -> None:
        """Let a line take a level at `at` (ns)."""
        self._settle(line, at)
        self._new[line] = _Level(at, high)

    def _settle(self, line: int, now: int) -> None:
        level = self._new.get(line)
        hold = round(self._lines[line].debounce_period.total_seconds() * 1e9)
        if level and level.high != self._held[line] and now - level.at >= hold:
            self._held[line] = level.high
            self._edge(line, level.at + hold, level.high)

    def _edge(self, line: int, at: int, high: bool) -> None:
        settings = self._lines[line]
        rising = high != settings.active_low
        if settings.edge_detection not in (Edge.BOTH, Edge.RISING if rising else Edge.FALLING):
            return
        kind = EdgeEvent.Type.RISING_EDGE if rising else EdgeEvent.Type.FALLING_EDGE
        self._numbers[line] += 1
        of_all = self._numbers.total()
        self._events.append(EdgeEvent(kind.value, at, line, of_all, self._numbers[line]))

    def waiting(self, now: int) -> bool:
        """Tell whether there are events at `now` (ns)."""
        for line in self._lines:
            self._settle(line, now)
        return bool(self._events)

    def take(self) -> list[EdgeEvent]:
        """Give the events; raises BlockingIOError where the real thing would wait for one."""
        if not self._events:
            raise BlockingIOError
        taken = list(self._events)
        self._events.clear()
        return taken
