"""When something began to emit and when it ended, and how much it has put into the room.

Told of every step what is thought of the room; knows neither how that was found nor what a
channel is. The mass comes from the balance and not from the tracked inflow, which lags behind:
what was added to the room's air plus what left it, less what extraction brought in with the air
from outside. How much that is shows only once nothing emits any more; it counts for all the time.
"""

import math
from typing import Any, NamedTuple

from ventwright.source.bank import Estimate

BEGUN, ENDED, _HALF = 0.15, 0.8, 0.5
"""A time of emission begins when the chance that nothing emits has been below the first for some
steps, and ends when it has been above the second; both are dated to where it crossed a half."""
_STEPS = 2


class Mark(NamedTuple):
    """How the balance stood at a time (ms): level now, and sums of what left since the start."""

    t: int
    level: float
    level_sigma: float
    left: float
    """What left the room's air, in the channel's unit."""
    rate_doubt: float
    """How much of that is in doubt because the loss rate is."""
    flushed: float
    """How often extraction has changed the air."""


class Spell:
    """One time of emission: the newest, and perhaps still going on."""

    def __init__(self, most: float = math.inf) -> None:
        """Know of none; extraction is not believed to lift the level of clean air above `most`."""
        self._most = most
        self.began: Mark | None = None
        """Where emission began; None if there was none yet."""
        self.ended: int | None = None
        """When it ended, ms; None while it goes on."""
        self.total = 0.0
        """What was put in, in the channel's unit (times the room's volume: an amount)."""
        self.spread = 0.0
        """Standard uncertainty of it."""
        self._now = Mark(0, 0.0, 0.0, 0.0, 0.0, 0.0)
        self._still: tuple[float, ...] = 0.0, 0.0
        """By how much extraction lifts the level of clean air, and its standard uncertainty."""
        self._turn: Mark | None = None
        self._streak = 0

    @property
    def on(self) -> bool:
        """Whether something emits now."""
        return self.began is not None and self.ended is None

    def take(
        self, t: int, hours: float, seen: Estimate, least: float, ended: int | None = None
    ) -> str:
        """Take what is thought at `t` ms, `hours` after the step before; returns what is new.

        That is "began", "ended" or nothing. An inflow below `least` does not count as emission.
        `ended` is since when nothing emits, ms, if so and if that is known better than by the step
        in which it became likely.
        """
        self._gather(t, hours, seen)
        if (seen.quiet < _HALF) is self.on or self._turn is None:
            self._turn = self._now
        if self.on:
            self._count()
            over = seen.quiet > ENDED
        else:
            over = seen.quiet < BEGUN and seen.inflow - seen.still > least
        self._streak = self._streak + 1 if over else 0
        return self._turned(ended) if self._streak >= _STEPS else ""

    def _gather(self, t: int, hours: float, seen: Estimate) -> None:
        before, share = self._now, hours
        self._now = Mark(
            t,
            seen.level,
            seen.level_sigma,
            before.left + seen.rate * seen.level * share,
            before.rate_doubt + seen.rate_sigma * abs(seen.level) * share,
            before.flushed + seen.added * share,
        )
        if seen.added:
            lifted = max(-self._most, min(self._most, seen.still / seen.added))
            self._still = lifted, seen.still_sigma / seen.added

    def _count(self) -> None:
        """Strike the balance since the beginning."""
        now, first = self._now, self.began
        if first is None:
            return
        flushed = now.flushed - first.flushed
        brought, doubt = self._still[0] * flushed, self._still[1] * flushed
        self.total = max(0.0, now.level - first.level + now.left - first.left - brought)
        self.spread = math.hypot(
            now.level_sigma,
            first.level_sigma,
            now.rate_doubt - first.rate_doubt,
            doubt,
        )

    def _turned(self, ended: int | None) -> str:
        self._streak, turn = 0, self._turn or self._now
        if self.on and self.began is not None:
            self.ended = turn.t if ended is None else max(self.began.t, min(ended, turn.t))
            return "ended"
        self.began, self.ended = turn, None
        self._count()
        return "began"

    def forget(self) -> None:
        """Give up what goes on: nothing was seen for too long to say what came of it."""
        if self.on:
            self.ended = self._now.t
        self._turn, self._streak = None, 0

    def save(self) -> dict[str, Any]:
        """Give all as plain JSON."""
        return {
            "began": _listed(self.began),
            "ended": self.ended,
            "total": [self.total, self.spread],
            "now": _listed(self._now),
            "turn": _listed(self._turn),
            "streak": self._streak,
            "still": list(self._still),
        }

    def restore(self, saved: dict[str, Any], shift: int) -> None:
        """Take back what `save` gave; `shift` (ms) turns its times into those of this boot."""
        self.began, self._turn = _mark(saved["began"], shift), _mark(saved["turn"], shift)
        self._now = _mark(saved["now"], shift) or self._now
        self.ended = None if saved["ended"] is None else saved["ended"] + shift
        self.total, self.spread = saved["total"]
        self._streak = saved["streak"]
        self._still = tuple(saved.get("still", (0.0, 0.0)))


def _listed(mark: Mark | None) -> list[float] | None:
    return None if mark is None else list(mark)


def _mark(saved: list[Any] | None, shift: int) -> Mark | None:
    return None if saved is None else Mark(saved[0] + shift, *saved[1:])
