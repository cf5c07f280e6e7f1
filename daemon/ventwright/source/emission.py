"""The source behind one channel: tracked from step to step at constant cost.

Knows a channel's running sums, the rates that may hold and which extractors run by name; knows no
alarm, no message and no clock. Particles that optical parts do not see are not in its figures.
"""

import math
from collections.abc import Callable
from typing import Any

from ventwright.means.channel import Channel
from ventwright.means.swings import swing_of
from ventwright.source.bank import Bank, Estimate
from ventwright.source.contest import Contest
from ventwright.source.noise import Noise
from ventwright.source.rates import Assumed
from ventwright.source.spell import Spell
from ventwright.source.tracking import Chances, Filter, Step

STEP_MS = 20_000
_LONGEST_MS = 300_000
_HOUR = 3_600_000
_LAG_MS = 8_000
"""By how much a small optical part shows the air late; from memory, for fans and firmware."""

_FLOOR, _LEAST = 6.0, 2.0
_DOUBTS = 0.3, 0.6
_CALM, _WILD, _WANDER = 0.003, 1.0, 0.003
"""In swings of the quantity within an hour (means/swings.py): the smallest change of inflow that
is thought of, the least that counts as emission, and how far the clean level is in doubt without
and with extraction. In shares: by how much an even inflow and the level move in a step."""

_STEEP = 6.0
"""How often an hour an inflow that begins to rise or fall may become another as large."""

_STILL_LEARNS = 0.3
_WHOLE = 3.0
"""In swings: the level at which a part is twice as noisy as in clean air. From memory, of small
optical parts: a few hundredths of the level, and some tenths of a µg/m³ at least."""

Rates = Callable[[str, list[float] | None], Assumed]
"""Gives the rates to assume while the extractors run that a text names, and what was left of
their chances the last time."""


class Source:
    """What emits into the air of one channel."""

    def __init__(self, channel: Channel, rates: Rates) -> None:
        """Know nothing yet."""
        self.channel = channel
        self._rates = rates
        self._swing = swing_of(channel.quantity) / channel.per_unit
        self._doubts = _DOUBTS[0] * self._swing, _DOUBTS[1] * self._swing
        self.bank: Bank | None = None
        self.running = ""
        """Which extractors run, named."""
        self.since = 0
        """Since when they do, ms."""
        self.spell = Spell(2 * self._doubts[1])
        self.contest: Contest | None = None
        """Healthy against weak extractors, where they were commissioned on this channel."""
        self._noise = Noise((self._swing / 10) ** 2, _WHOLE * self._swing)
        self._from: tuple[int, int, int] | None = None
        self._still: dict[str, float] = {}
        self._left: dict[str, list[float]] = {}
        self._seen: Estimate | None = None

    @property
    def estimate(self) -> Estimate | None:
        """What is thought of the room now, or None where that is not known."""
        return self._seen

    def noise(self, level: float) -> float:
        """Give the variance of the mean over one step at a level above the baseline."""
        return self._noise.at(level)

    def step(self, t: int, running: str) -> str:
        """Take what the channel showed up to `t` ms; returns "began", "ended" or nothing.

        `running` names the extractors that run from now on.
        """
        news, base = "", self.channel.base
        area, cover = self.channel.history.area, self.channel.history.cover
        if self._from is None or base is None or t - self._from[0] > _LONGEST_MS:
            self._pause()
        elif cover > self._from[2]:
            mean = (area - self._from[1]) / (cover - self._from[2]) / self.channel.per_unit
            news = self._take(t, mean - base, (t - self._from[0]) / _HOUR)
        else:
            return ""
        self._from = t, area, cover
        if running != self.running:
            self._turn(t, running)
        return news

    def _pause(self) -> None:
        """Begin anew: nothing is known of what happened since."""
        self.bank, self.contest, self._seen = None, None, None
        self._noise.pause()
        self.spell.forget()

    def _take(self, t: int, value: float, hours: float) -> str:
        noise = self._noise.take(value, hours * _HOUR / STEP_MS)
        noise = max(noise, self.channel.grain**2 / 60)
        if self.bank is None:
            start = value, 0.0, self._swing**2, 0.0, (_FLOOR * self._swing) ** 2
            self.bank = self._bank(start, (0.9, 0.05, 0.05))
            self.contest = self._contest(start)
            self._seen = self.bank.estimate()
        step = self._step(value, hours, noise)
        self.bank.step(step)
        if self.contest is not None:
            self.contest.step(step)
        seen = self._seen = self._thought(self.bank)
        late, ended = _LAG_MS + round(hours * _HOUR / 2), None
        if self.contest is not None:
            ended = t - round(self.contest.age * _HOUR)
        return self.spell.take(t - late, hours, seen, _LEAST * self._swing, ended)

    def _thought(self, bank: Bank) -> Estimate:
        """Tell what is thought of the room now; the contest knows best what emits and clears."""
        seen = bank.estimate()
        if self.contest is None:
            return seen
        seen = seen._replace(quiet=self.contest.quiet)
        if (found := self.contest.found()) is None:
            return seen
        full = bank.assumed.added
        rate = bank.assumed.natural + found[0] * full
        sigma = math.hypot(found[1] * full, bank.assumed.error * rate)
        return seen._replace(rate=rate, rate_sigma=sigma, added=found[0] * full)

    def _step(self, value: float, hours: float, noise: float) -> Step:
        seen = self._seen
        assert seen is not None
        kept = 1 - min(1.0, seen.rate * hours)
        off = abs(value - kept * seen.level - hours * seen.inflow)
        floor = _FLOOR * self._swing
        wild = max(floor, abs(seen.inflow), seen.rate * abs(seen.level), 1.5 * off / hours)
        return Step(
            hours,
            value,
            noise,
            hours / 2,
            _LAG_MS / _HOUR,
            (_CALM * max(floor, seen.inflow)) ** 2,
            (_WILD * wild) ** 2,
            (_WANDER * max(self._swing / 3, abs(seen.level))) ** 2,
            (_STEEP * max(5 * floor, wild)) ** 2,
        )

    def _bank(self, start: Filter, chances: Chances, before: float | None = None) -> Bank:
        assumed = self._rates(self.running, self._left.get(self.running))
        still = self._still.get(self.running, 0.0)
        return Bank(assumed, start, chances, still, self._doubts, before)

    def _contest(self, start: Filter) -> Contest | None:
        if self.bank is None or not self.bank.assumed.measured:
            return None
        still = self._still.get(self.running, 0.0)
        return Contest(self.bank.assumed, start, still, self._doubts, _LEAST * self._swing)

    def _turn(self, t: int, running: str) -> None:
        """Go on with other rates: extractors were switched."""
        self._learn_still()
        before, left = self.bank, self.running
        self.running, self.since = running, t
        if before is None:
            return
        self._left[left] = before.weights
        added = before.estimate().rate - before.assumed.natural if left else 0.0
        self.bank = self._bank(before.filter(), before.chances(), added)
        if self.contest is None or not self.bank.assumed.measured:
            self.contest = self._contest(before.filter())
        else:
            self.contest.turn(self.bank.assumed, self._still.get(running, 0.0))
        self._seen = self._thought(self.bank)

    def _learn_still(self) -> None:
        """Learn by how much extraction lifts the level of clean air: outdoor air comes in."""
        seen = self._seen
        if not self.running or seen is None or self.bank is None or seen.quiet < 0.9:
            return
        added = seen.rate - self.bank.assumed.natural
        if added <= 0 or seen.still_sigma > _DOUBTS[1] * self._swing * added / 2:
            return
        before = self._still.get(self.running, 0.0)
        self._still[self.running] = before + _STILL_LEARNS * (seen.still / added - before)

    def commissioned(self) -> None:
        """Take rates that were measured anew."""
        if self.bank is not None:
            self.bank = self._bank(self.bank.filter(), self.bank.chances())
            self.contest = self._contest(self.bank.filter())

    def save(self) -> dict[str, Any]:
        """Give all that must survive a restart, as plain JSON."""
        return {
            "t": None if self._from is None else self._from[0],
            "bank": None if self.bank is None else self.bank.save(),
            "contest": None if self.contest is None else self.contest.save(),
            "running": self.running,
            "since": self.since,
            "spell": self.spell.save(),
            "noise": self._noise.save(),
            "still": self._still,
            "left": self._left,
        }

    def restore(self, saved: dict[str, Any], shift: int) -> None:
        """Take back what `save` gave; `shift` (ms) turns its times into those of this boot.

        The channel has its readings already; those after the save are not told of again.
        """
        self.running, self.since = saved["running"], saved["since"] + shift
        self._noise.restore(saved["noise"])
        self._noise.pause()
        self._still, self._left = dict(saved["still"]), dict(saved["left"])
        self.spell.restore(saved["spell"], shift)
        if saved["bank"] is not None:
            self.bank = Bank.restored(saved["bank"])
            if saved.get("contest") is not None:
                least = _LEAST * self._swing
                self.contest = Contest.restored(saved["contest"], self._doubts, least)
            self._seen = self._thought(self.bank)
        if saved["t"] is not None:
            history = self.channel.history
            self._from = saved["t"] + shift, history.area, history.cover
