"""Exact time-weighted rolling means of whole-step readings, at constant cost for any window.

A reading speaks for the time since the one before it, up to `reach`; after a longer gap for one
period. Running sums of step·ms and of covered ms are kept in linked chunks, so a window needs
only a place in the chain and two subtractions, and whole numbers never drift. A chunk lives as
long as some window still stands in it or before it.
"""

from array import array
from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate, chain
from operator import mul, sub

_SIZE = 1024  # readings a chunk
_SPAN_MS = 1 << 31  # a chunk's relative times fit 32 bits


class _Chunk:
    """Consecutive readings: end times and sums, relative to the chunk's start."""

    __slots__ = ("area0", "areas", "cover0", "covers", "ends", "next", "t0")

    def __init__(self, t0: int, area0: int, cover0: int) -> None:
        self.t0 = t0
        self.area0 = area0
        self.cover0 = cover0
        self.ends = array("I")
        self.covers = array("I")
        self.areas = array("q")
        self.next: _Chunk | None = None


class History:
    """The readings of one channel that its windows still need."""

    __slots__ = ("_chunk", "_period", "_reach", "_windows", "area", "cover", "last", "step")

    def __init__(self, period: int, reach: int) -> None:
        """Start empty; `period` and `reach` in ms, period at most reach."""
        self._period = period
        self._reach = reach
        self._chunk = _Chunk(0, 0, 0)
        self._windows: list[Window] = []
        self.area = 0
        """Sum of step·ms since the start."""
        self.cover = 0
        """Sum of covered ms since the start."""
        self.last: int | None = None
        """Time of the newest reading, ms."""
        self.step = 0
        """The newest reading, whole steps."""

    def add(self, t: int, step: int) -> None:
        """Take a reading of `step` whole steps at `t` ms, later than the one before."""
        gap = self._reach + 1 if self.last is None else t - self.last
        span = gap if gap <= self._reach else self._period
        chunk = self._chunk
        if len(chunk.ends) == _SIZE or t - chunk.t0 >= _SPAN_MS or self.last is None:
            chunk.next = self._chunk = chunk = _Chunk(t - span, self.area, self.cover)
            for window in self._windows:
                window.follow(t)
        self.area += step * span
        self.cover += span
        chunk.ends.append(t - chunk.t0)
        chunk.covers.append(self.cover - chunk.cover0)
        chunk.areas.append(self.area - chunk.area0)
        self.last, self.step = t, step

    def extend(self, times: Sequence[int], steps: Sequence[int]) -> None:
        """Take many readings at once, as `add` would one by one; times ascend."""
        place = 0
        while place < len(times):
            self.add(times[place], steps[place])
            free = _SIZE - len(self._chunk.ends)
            stop = bisect_left(times, self._chunk.t0 + _SPAN_MS, place + 1, len(times))
            stop = min(stop, place + 1 + free)
            self._fill(times[place + 1 : stop], steps[place + 1 : stop])
            place = stop

    def _fill(self, times: Sequence[int], steps: Sequence[int]) -> None:
        """Put readings into the open chunk, which has room for them."""
        if not times or self.last is None:
            return
        chunk, reach, period = self._chunk, self._reach, self._period
        spans = list(map(sub, times, chain((self.last,), times)))
        if max(spans) > reach:
            spans = [span if span <= reach else period for span in spans]
        chunk.ends.extend([t - chunk.t0 for t in times])
        chunk.covers.extend(list(accumulate(spans, initial=self.cover - chunk.cover0))[1:])
        areas = accumulate(map(mul, steps, spans), initial=self.area - chunk.area0)
        chunk.areas.extend(list(areas)[1:])
        self.cover = chunk.cover0 + chunk.covers[-1]
        self.area = chunk.area0 + chunk.areas[-1]
        self.last, self.step = times[-1], steps[-1]

    def window(self, length: int) -> "Window":
        """Open a window over the last `length` ms; it sees what is added from now on."""
        window = Window(self, self._chunk, length)
        self._windows.append(window)
        return window


class Window:
    """A rolling window over a history."""

    __slots__ = ("_chunk", "_history", "_place", "length")

    def __init__(self, history: History, chunk: _Chunk, length: int) -> None:
        self._history = history
        self._chunk = chunk
        self._place = len(chunk.ends)
        self.length = length

    def sums(self, t: int) -> tuple[int, int]:
        """Give the sum of step·ms and the covered ms over the window that ends at `t` (ms)."""
        edge = t - self.length
        if not self._move(edge):
            return 0, 0
        chunk, i = self._chunk, self._place
        area0, cover0 = (chunk.areas[i - 1], chunk.covers[i - 1]) if i else (0, 0)
        area = self._history.area - chunk.area0 - area0
        cover = self._history.cover - chunk.cover0 - cover0
        span = chunk.covers[i] - cover0
        outside = edge - (chunk.t0 + chunk.ends[i] - span)
        if outside > 0:
            area -= (chunk.areas[i] - area0) // span * outside
            cover -= outside
        return area, cover

    def follow(self, t: int) -> None:
        """Let go of what no look at `t` ms or later needs; an unasked window would hold it all."""
        self._move(t - self.length)

    def _move(self, edge: int) -> bool:
        """Step to the first reading that ends after `edge`; False if there is none."""
        chunk, i = self._chunk, self._place
        while True:
            ends, limit, count = chunk.ends, edge - chunk.t0, len(chunk.ends)
            while i < count and ends[i] <= limit:
                i += 1
            if i < count or chunk.next is None:
                self._chunk, self._place = chunk, i
                return i < count
            chunk, i = chunk.next, 0
