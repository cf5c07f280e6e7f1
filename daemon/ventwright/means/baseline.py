"""What a channel shows when nothing in the room emits, and how well that is known.

The baseline goes to where the air stood during the last quiet hour, and goes down at once where
the air is cleaner. Once the air stands higher above it than a room moves by itself within an hour
(swings.py), something emits: the baseline holds still until the air is back, and nothing of that
time, its beginning included, is ever learned. Only when the air has not come back for a whole day
is its lowest hour taken for normal.

Knows minutes and steps; knows no alarm and no clock. A minute that hardly was measured teaches
nothing; after a pause the room may have moved further.
"""

import math
from collections import deque
from typing import Any, Protocol

from ventwright.means.swings import SHARE

MINUTE_MS = 60_000
_COVERED_MS = 30_000
_NOW = 10  # minutes whose median is "now": a blip is shorter
_ENOUGH = 5
_HOUR = 60
_DAY = 24
_SPANS, _SPAN = (
    6,
    5,
)  # half an hour in spans of so many minutes: a sudden rise counts from its lowest
_LATELY = 2  # of these spans
_UP, _DOWN = 0.05, 0.1  # shares of the way, a minute
_SHORT_PAUSE = 10
_PACES = 3.1
"""After how many times what a reading speaks for its absence is a pause: as channel.reach_of."""
_NO_LEVEL = math.inf


class Sums(Protocol):
    """What the baseline needs of a history: running sums (step·ms, ms) and the newest step."""

    @property
    def area(self) -> int:
        """Sum of step·ms since the start."""

    @property
    def cover(self) -> int:
        """Sum of covered ms since the start."""

    @property
    def step(self) -> int:
        """The newest reading, whole steps."""


def _median(values: deque[float]) -> float:
    return sorted(values)[len(values) // 2]


class Baseline:
    """The baseline of one channel, in steps."""

    def __init__(self, swing: float) -> None:
        """Start knowing nothing; `swing` is how far clean air moves by itself in an hour, steps."""
        self._swing = swing
        self.steps: float | None = None
        """The baseline in steps; None before five minutes are known."""
        self.held = 0
        """Minutes since which it holds still, because something emits."""
        self._learned = 0
        self._now: deque[float] = deque(maxlen=_NOW)
        self._quiet: deque[float] = deque(maxlen=_HOUR)
        self._lows: deque[float] = deque(maxlen=_SPANS)
        self._lowest: deque[float] = deque(maxlen=_DAY)
        self._low = _NO_LEVEL
        self._away = 0.0
        self._scatter = (swing / 4) ** 2
        self._jitter = 0.0
        self._last: float | None = None
        self._grain = 0
        self._minute: int | None = None
        self._from = (0, 0)

    def add(self, t: int, sums: Sums) -> None:
        """Take the history as it is just before a reading at `t` ms."""
        minute = t // MINUTE_MS
        if minute != self._minute:
            self._close(minute, sums)

    def _close(self, minute: int, sums: Sums) -> None:
        cover = sums.cover - self._from[1]
        if self._minute is not None and cover >= _COVERED_MS:
            self._grain = math.gcd(self._grain, sums.step)
            self.learn((sums.area - self._from[0]) / cover, max(1, round(cover / MINUTE_MS)))
        if self._minute is not None:
            gap = minute - self._minute
            if gap > max(_SHORT_PAUSE, _PACES * cover / MINUTE_MS):
                self.pause(gap)
        self._minute, self._from = minute, (sums.area, sums.cover)

    def pause(self, minutes: int) -> None:
        """Know that nothing was measured for some time: the room may have moved."""
        self._now.clear()
        self._quiet.clear()
        self._lows.clear()
        self._last = None
        self._away = minutes / _HOUR

    def learn(self, mean: float, minutes: int = 1) -> None:
        """Take the mean of a minute, in steps, or of the `minutes` that a rare reading speaks for.

        So an hour is an hour, however seldom the part is asked.
        """
        mean = round(mean, 3)
        for _ in range(minutes):
            self._learn(mean)

    def _learn(self, mean: float) -> None:
        self._learned += 1
        self._now.append(mean)
        if self._learned % _SPAN == 0 or not self._lows:
            self._lows.append(mean)
        self._lows[-1] = min(self._lows[-1], mean)
        if len(self._now) >= _ENOUGH:
            now = _median(self._now)
            self._follow(now, mean)
            self._count_hours(now)
        self._last = mean

    def _follow(self, now: float, mean: float) -> None:
        if self.steps is None:
            self.steps = now
        above = now - self.steps
        if above > self._reach(self.steps):
            self.held += 1
            self._quiet.clear()
            return
        self.held = 0
        self._quiet.append(mean)
        self._weigh(above, mean)
        if above < 0:
            self._move(_DOWN * above)
        elif len(self._quiet) == _HOUR:
            self._away *= 1 - _UP
            self._move(_UP * max(0.0, min(above, _median(self._quiet) - self.steps)))

    def _move(self, way: float) -> None:
        self.steps = round((self.steps or 0.0) + way, 6)

    def _reach(self, steps: float) -> float:
        """How far above the baseline the air may be before something must be emitting, steps."""
        return (self._swing + SHARE * max(0.0, steps)) * min(2.0, math.sqrt(1 + self._away))

    def _weigh(self, above: float, mean: float) -> None:
        """Learn the scatter of quiet air round the baseline, and of a minute round the next."""
        weight = 1 / min(_HOUR + self._learned, _HOUR * _DAY)
        self._scatter += (above * above - self._scatter) * weight
        if (step := self._old_step(mean)) is not None:
            weight = 1 / min(self._learned, _HOUR * _DAY)
            self._jitter += (step * step / 2 - self._jitter) * weight

    def _old_step(self, mean: float) -> float | None:
        """From one minute to the next, some minutes ago: what begins now is not taken for noise."""
        if len(self._now) == _NOW:
            return self._now[1] - self._now[0]
        return None if self._last is None else mean - self._last

    def _count_hours(self, now: float) -> None:
        """Keep the lowest level of every hour; the lowest of a whole day is normal at the least."""
        self._low = min(self._low, now)
        if self._learned % _HOUR:
            return
        self._lowest.append(self._low)
        self._low = _NO_LEVEL
        if len(self._lowest) == _DAY and self.steps is not None:
            self.steps = max(self.steps, min(self._lowest))

    @property
    def grain(self) -> int:
        """The greatest common divisor of the steps seen; 0 before any was."""
        return self._grain

    @property
    def lowest(self) -> float | None:
        """The lowest minute of the last half hour or nearly so, in steps; None: none is known."""
        return min(self._lows, default=None)

    @property
    def lately(self) -> float | None:
        """The lowest minute of the last five to ten, in steps; None: so many are not known."""
        return None if len(self._lows) < _LATELY else min(list(self._lows)[-_LATELY:])

    @property
    def young(self) -> bool:
        """True while less than a day is known: what it says may still be a print."""
        return self._learned < _HOUR * _DAY

    @property
    def sigma(self) -> float:
        """The standard uncertainty of the baseline, in steps.

        From the scatter of quiet air round it, growing as a random walk while it holds still or
        nothing is measured, and from the steps in which the part counts (GUM: step/√12).
        """
        hours = 1 + self.held / _HOUR + self._away
        return math.sqrt(self._scatter * hours + max(1, self._grain) ** 2 / 12)

    def noise(self, length: int) -> float:
        """Give the standard uncertainty of a mean over `length` ms by noise alone, in steps."""
        return math.sqrt(self._jitter * MINUTE_MS / length)

    def save(self, sums: Sums) -> dict[str, Any]:
        """Give all that is known as plain JSON, in about 1 kB."""
        return {
            **{name: _plain(getattr(self, name)) for name in _KEPT},
            "minute": self._minute,
            "part": [sums.area - self._from[0], sums.cover - self._from[1]],
        }

    def restore(self, saved: dict[str, Any]) -> None:
        """Take back what `save` gave; raises KeyError or TypeError if it is something else."""
        part, values = saved["part"], {name: saved[name] for name in _KEPT}
        for name, value in values.items():
            known = getattr(self, name)
            if isinstance(known, deque):
                setattr(self, name, deque(value, maxlen=known.maxlen))
            else:
                setattr(self, name, _NO_LEVEL if name == "_low" and value is None else value)
        self._minute = saved["minute"]
        self._from = (-part[0], -part[1])

    def resume(self, sums: Sums, same_clock: bool) -> None:
        """Go on after `restore` with a history that has other sums, and perhaps another clock."""
        self._from = (sums.area + self._from[0], sums.cover + self._from[1])
        if not same_clock:
            self._minute = None
            self.pause(_UNKNOWN_PAUSE)


_UNKNOWN_PAUSE = 3 * _HOUR
_KEPT = (
    "steps",
    "held",
    "_learned",
    "_now",
    "_quiet",
    "_lows",
    "_lowest",
    "_low",
    "_away",
    "_scatter",
    "_jitter",
    "_last",
    "_grain",
)


def _plain(value: Any) -> Any:
    if isinstance(value, deque):
        return list(value)
    return None if value == _NO_LEVEL else value
