"""What a channel shows when nothing in the room emits: a low quantile of a day of minute means.

Knows minutes and steps; knows no alarm. An episode shorter than four fifths of a day leaves the
quantile among the quiet minutes, a slow change moves it within the day.
"""

from bisect import bisect_left, insort
from collections import deque

MINUTE_MS = 60_000
_KEPT = 24 * 60
_SHARE = 0.2
_YOUNG = 3 * 60
_ENOUGH = 5
_COVERED_MS = 30_000


class Baseline:
    """The baseline of one channel, in steps."""

    def __init__(self) -> None:
        """Start knowing nothing."""
        self._minutes: deque[float] = deque()
        self._sorted: list[float] = []
        self._minute: int | None = None
        self._from = (0, 0)
        self.steps: float | None = None
        """The baseline in steps; None before five minutes are known."""

    def add(self, t: int, area: int, cover: int) -> None:
        """Take the history's running sums (step·ms, ms) as they were just before `t` (ms)."""
        minute = t // MINUTE_MS
        if minute == self._minute:
            return
        if self._minute is not None and cover - self._from[1] >= _COVERED_MS:
            self.learn((area - self._from[0]) / (cover - self._from[1]))
        self._minute = minute
        self._from = (area, cover)

    def learn(self, mean: float) -> None:
        """Take the mean of a minute, in steps."""
        if len(self._minutes) == _KEPT:
            del self._sorted[bisect_left(self._sorted, self._minutes.popleft())]
        self._minutes.append(mean)
        insort(self._sorted, mean)
        if len(self._sorted) >= _ENOUGH:
            self.steps = self._sorted[int(_SHARE * (len(self._sorted) - 1))]

    @property
    def young(self) -> bool:
        """True while less than three hours are known: what it says may still be a print."""
        return len(self._sorted) < _YOUNG
