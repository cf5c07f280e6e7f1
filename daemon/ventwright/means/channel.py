"""One channel as the core sees it: its history, the windows over it, its baseline."""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import Any, NamedTuple

from ventwright.means.baseline import MINUTE_MS, Baseline, Sums
from ventwright.means.history import History, Window
from ventwright.means.swings import swing_of
from ventwright_drivers.quantities import Quantity

TRUSTED_OVER_MS = 60_000


class Mean(NamedTuple):
    """A rolling mean in the channel's unit (None below the asked coverage) and its coverage."""

    value: float | None
    coverage: float


def reach_of(period: int) -> int:
    """Tell how long a reading of a part with this period (ms) may speak for, ms.

    Three periods and two seconds: parts that slow down in still air (2.3 s where 1 s is
    nominal) and a lost frame leave no gap.
    """
    return 3 * period + 2000


class _Mirrored:
    """A history upside down: what dirty air makes smaller is learned as what it makes larger."""

    def __init__(self, history: History) -> None:
        self._history = history

    @property
    def area(self) -> int:
        return -self._history.area

    @property
    def cover(self) -> int:
        return self._history.cover

    @property
    def step(self) -> int:
        return -self._history.step


class Channel:
    """A quantity of a part."""

    def __init__(self, name: str, quantity: Quantity, period: int) -> None:
        """Start empty; `period` is the part's, ms."""
        self.name = name
        self.quantity = quantity
        self.per_unit = quantity.per_unit
        self.period = period
        self._reach = reach_of(period)
        self.history = History(period, self._reach)
        self._learned: Sums = _Mirrored(self.history) if quantity.falls else self.history
        self.seam: tuple[int, int] | None = None
        """The history's sums where, in a restart, what came after the last save begins."""
        self.baseline = Baseline(swing_of(quantity))
        self._resume: tuple[int, bool] | None = None
        self._windows: dict[int, Window] = {}
        self.emission: float | None = None
        """What its source puts into the room now, µg/h (or the unit times m³/h); None: unknown."""
        self.emits: bool | None = None
        """Whether a source is tracked that emits now; None: unknown."""
        self.decides = False
        """Whether extraction is decided on this channel."""
        self.trusted = 0
        """When the channel could last be trusted, ms: see `trust`."""

    def trust(self, t: int) -> None:
        """Trust the channel at `t` ms if good readings cover half of the minute before.

        A good reading now and then gives no mean, so it is no reason to believe the air clean.
        """
        if self._windows[TRUSTED_OVER_MS].sums(t)[1] >= TRUSTED_OVER_MS // 2:
            self.trusted = t

    def add(self, t: int, step: int) -> None:
        """Take a good reading of whole steps at `t` ms."""
        self.baseline.add(t, self._learned)
        self.history.add(t, step)

    def learn(self, mean: float) -> None:
        """Have the baseline take the mean of a minute, in steps, that is in no history."""
        self.baseline.learn(-mean if self.quantity.falls else mean)

    def load(self, times: Sequence[int], steps: Sequence[int]) -> None:
        """Take stored readings, ms and whole steps in order; those not later than known are old."""
        last, place = self.history.last, 0
        if last is not None:
            place = bisect_right(times, last)
        if self._resume is not None:
            known = max(place, bisect_right(times, self._resume[0]))
            self.history.extend(times[place:known], steps[place:known])
            place = known
        while place < len(times):
            self.resume()
            self.baseline.add(times[place], self._learned)
            minute_ends = (times[place] // MINUTE_MS + 1) * MINUTE_MS
            after = bisect_left(times, minute_ends, place)
            self.history.extend(times[place:after], steps[place:after])
            place = after

    def save_baseline(self) -> dict[str, Any]:
        """Give what the baseline knows, as plain JSON of about 1 kB."""
        return self.baseline.save(self._learned)

    def restore_baseline(self, saved: dict[str, Any], t: int | None) -> None:
        """Take back what the baseline knew at `t` ms of this boot, or (None) of another.

        Stored readings may then be loaded; `resume` must follow.
        """
        self.baseline.restore(saved)
        self._resume = (-1, False) if t is None else (t, True)

    def resume(self) -> None:
        """Let a baseline that was taken back go on from here."""
        if self._resume is not None:
            self.baseline.resume(self._learned, same_clock=self._resume[1])
            self._resume = None

    def watch(self, length: int) -> None:
        """Keep what a window of `length` ms needs."""
        if length not in self._windows:
            self._windows[length] = self.history.window(length)

    def mean(self, t: int, length: int, coverage: float) -> Mean:
        """Average over the `length` ms before `t`; the window must have been watched.

        While the newest reading is not older than its reach, the window ends with it: the time
        since is not missing, its reading is still to come.
        """
        last = self.history.last
        end = t if last is None or t - last > self._reach else last
        area, cover = self._windows[length].sums(end)
        share = cover / length
        if not cover or share < coverage:
            return Mean(None, share)
        return Mean(area / cover / self.per_unit, share)

    def mean_before(self, t: int, length: int, coverage: float) -> float | None:
        """Average over the `length` ms before those of `mean`; twice the length must be watched."""
        last = self.history.last
        end = t if last is None or t - last > self._reach else last
        both, recent = self._windows[2 * length].sums(end), self._windows[length].sums(end)
        cover = both[1] - recent[1]
        if not cover or cover / length < coverage:
            return None
        return (both[0] - recent[0]) / cover / self.per_unit

    def speaks(self, t: int) -> bool:
        """Tell whether the newest good reading is not older than its reach at `t` ms."""
        last = self.history.last
        return last is not None and t - last <= self._reach

    @property
    def base(self) -> float | None:
        """The baseline in the channel's unit, or None."""
        steps = self.baseline.steps
        if steps is None:
            return None
        return (-steps if self.quantity.falls else steps) / self.per_unit

    @property
    def grain(self) -> float:
        """In what steps the part counts, as far as was seen, in the channel's unit."""
        return max(1, self.baseline.grain) / self.per_unit

    @property
    def lowest(self) -> float | None:
        """The cleanest minute of the last half hour in the channel's unit, or None."""
        steps = self.baseline.lowest
        if steps is None:
            return None
        return (-steps if self.quantity.falls else steps) / self.per_unit

    @property
    def lately(self) -> float | None:
        """The cleanest minute of the last five to ten in the channel's unit, or None."""
        steps = self.baseline.lately
        if steps is None:
            return None
        return (-steps if self.quantity.falls else steps) / self.per_unit

    def noise(self, length: int) -> float:
        """Give the standard uncertainty of a mean over `length` ms by noise alone."""
        return self.baseline.noise(length) / self.per_unit

    @property
    def base_sigma(self) -> float | None:
        """The standard uncertainty of the baseline in the channel's unit, or None."""
        return None if self.baseline.steps is None else self.baseline.sigma / self.per_unit

    def rise_sigma(self, length: int) -> float | None:
        """Give the standard uncertainty of mean over `length` ms minus baseline, or None."""
        if self.baseline.steps is None:
            return None
        return math.hypot(self.baseline.sigma, self.baseline.noise(length)) / self.per_unit

    @property
    def last_value(self) -> float | None:
        """The newest good reading in the channel's unit, or None."""
        return None if self.history.last is None else self.history.step / self.per_unit
