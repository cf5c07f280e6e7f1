"""The sources that the core tracks: one for every channel on which extraction is decided.

Gives them time, tells them which extractors run and what was commissioned, and makes records of
what they find. Knows the core; decides nothing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ventwright.settings.model import HOUR
from ventwright.source.emission import STEP_MS, Source
from ventwright.source.proof import Proof, Prover
from ventwright.source.rates import Assumed, commissioned, unmeasured
from ventwright.source.recovery import Clear, recovery

if TYPE_CHECKING:
    from ventwright.alarms.alarm import Alarm
    from ventwright.keeper.core import Core
    from ventwright.means.channel import Channel

_MASS = "µg/m³"
_LEAST_MS = 5_000
_RISING = frozenset({"rise"})
_LEVELS = frozenset({"rise", "mean"})


def emission_unit(unit: str) -> str:
    """Give the unit of an emission rate into the room: µg/h for µg/m³, else with the volume."""
    return "µg/h" if unit == _MASS else f"{unit}·m³/h"


def amount_unit(unit: str) -> str:
    """Give the unit of what was put in: µg for µg/m³, else with the volume."""
    return "µg" if unit == _MASS else f"{unit}·m³"


class Sources:
    """All that are tracked."""

    def __init__(self, core: Core, channels: list[Channel]) -> None:
        """Track `channels`, except those that show no concentration."""
        self._core = core
        self.sources = {
            c.name: Source(c, self._rates(c.name))
            for c in channels
            if not c.quantity.raw and not c.quantity.falls and not c.quantity.inferred
        }
        self._provers = {name: Prover() for name in core.extractors}
        self.due = core.now + STEP_MS

    def _rates(self, channel: str) -> Any:
        def rates(running: str, left: list[float] | None) -> Assumed:
            return self._assumed(channel, running, left)

        return rates

    def _assumed(self, channel: str, running: str, left: list[float] | None) -> Assumed:
        known = self._core.commissioned
        here = {name: found for name, found in known.items() if found.channel == channel}
        names = running.split("+") if running else []
        if not here or any(name not in here for name in names):
            return unmeasured(bool(running), left)
        newest = max(here.values(), key=lambda found: found.t)
        added = sum(here[name].clearance - here[name].natural for name in names)
        doubt = math.hypot(*(here[name].clearance_error for name in names)) if names else 0.0
        error = doubt / added if added else newest.natural_error / max(newest.natural, 1e-3)
        return commissioned(max(newest.natural, 0.05), added, error)

    def _running(self) -> str:
        return "+".join(name for name, e in self._core.extractors.items() if e.on)

    def step(self) -> None:
        """Let all take what came since the step before, and record what they find."""
        t, running = self._core.now, self._running()
        self.due = t + STEP_MS
        for source in self.sources.values():
            before = source.running
            news = source.step(t, running)
            if news:
                self._core.note("source", source.channel.name, self._body(source, news))
            self._show(source)
            self._prove(t, source, before, running)

    def _show(self, source: Source) -> None:
        """Let the alarms on its channel see what is thought of a source."""
        source.channel.emission = self._emission(source)
        source.channel.emits = None if source.estimate is None else source.spell.on

    def _emission(self, source: Source) -> float | None:
        seen = source.estimate
        if seen is None:
            return None
        inflow = max(0.0, seen.inflow - seen.still)
        return self._core.settings.room.volume * (1 - seen.quiet) * inflow

    def switched(self) -> None:
        """Know that an extractor was switched just now."""
        if self.sources:
            self.step()

    def _prove(self, t: int, source: Source, before: str, running: str) -> None:
        prover = self._provers.get(before)
        if prover is None or not self._proves(before, source):
            return
        goes_on = running == before
        found = prover.follow(t, source.contest, source.since) if goes_on else prover.end(t)
        if found:
            self._core.note("clearance", before, self._proof_body(source, before, *found))

    def _proves(self, name: str, source: Source) -> bool:
        found = self._core.commissioned.get(name)
        return found is not None and found.channel == source.channel.name

    def _proof_body(self, source: Source, name: str, change: str, proof: Proof) -> dict[str, Any]:
        found = self._core.commissioned[name]
        added = found.clearance - found.natural
        return {
            "change": change,
            "channel": source.channel.name,
            "share": round(proof.share, 3),
            "share_sigma": round(proof.sigma, 3),
            "low": round(proof.low, 3),
            "clearance": round(found.natural + proof.share * added, 3),
            "commissioned": found.clearance,
            "since": proof.since,
        }

    def _body(self, source: Source, change: str) -> dict[str, Any]:
        return {"change": change, **self.figures(source)}

    def figures(self, source: Source) -> dict[str, Any]:
        """Tell what is thought of a source: rates and amounts with units, times in ms."""
        seen, spell, unit = source.estimate, source.spell, source.channel.quantity.unit
        volume = self._core.settings.room.volume
        return {
            "emitting": spell.on,
            "emission": self._emission(source),
            "emission_sigma": volume * math.hypot(seen.inflow_sigma, seen.still_sigma)
            if seen
            else None,
            "unit": emission_unit(unit),
            "began": None if spell.began is None else spell.began.t,
            "ended": spell.ended,
            "total": volume * spell.total,
            "total_sigma": volume * spell.spread,
            "total_unit": amount_unit(unit),
            "measured": source.bank is not None and source.bank.assumed.measured,
            "loss_rate": seen and seen.rate,
            "loss_rate_sigma": seen and seen.rate_sigma,
            "clear": self.clear(source.channel.name),
        }

    def clear(self, channel: str) -> dict[str, Any] | None:
        """Tell when the last alarm that extracts because of a channel will have cleared, ms.

        `emits`: only if what emits now were to stop now; `measured`: the room is commissioned, else
        it is not known well that nothing emits. None: no alarm, or it cannot be told.
        """
        source, alarms = self.sources.get(channel), self._core.alarms.values()
        raised = [a for a in alarms if a.settings.channel == channel and a.extracting]
        raised = [a for a in raised if a.settings.compare in _LEVELS]
        if source is None or source.bank is None or not raised:
            return None
        found = [self._clears(alarm, source) for alarm in raised]
        if any(one is None for one in found):
            return None
        last = max((one for one in found if one), key=lambda one: one.about)
        now = self._core.now
        about, first, most = (now + round(HOUR * hours) for hours in last)
        measured = source.bank.assumed.measured
        clear = {"about": about, "from": first, "to": most, "emits": source.spell.on}
        return {**clear, "measured": measured}

    def _clears(self, alarm: Alarm, source: Source) -> Clear | None:
        settings = alarm.settings
        if source.bank is None or alarm.channel.base is None:
            return None
        wait = settings.off_delay / HOUR
        if alarm.condition.due is not None:  # it is below already, and may stay so
            left = (alarm.condition.due - self._core.now) / HOUR
            return Clear(left, left, left + wait)
        ways = [self._falls(alarm, source, alarm.setpoint - alarm.deadband, 0.0)]
        if settings.settled:
            rest = alarm.condition.settles_in(self._core.now) / HOUR
            ways.append(self._falls(alarm, source, alarm.setpoint, rest))
        found = [clear for clear in ways if clear]
        if not found:
            return None
        return Clear(*(hours + wait for hours in min(found, key=lambda clear: clear.about)))

    @staticmethod
    def _falls(alarm: Alarm, source: Source, edge: float, rest: float) -> Clear | None:
        """Tell when an alarm's mean is `rest` hours below `edge`, if nothing emits."""
        assert source.bank is not None
        over, base = alarm.settings.over, alarm.channel.base or 0.0
        level = edge - (0.0 if alarm.settings.compare in _RISING else base)
        noise = math.sqrt(source.noise(level) * STEP_MS / over)
        clear = recovery(source.bank, level, over / HOUR, noise)
        return clear and Clear(*(hours + rest for hours in clear))

    def low(self, extractor: str) -> bool:
        """Tell whether an extractor is known to clear less than it was commissioned for."""
        return extractor in self._provers and self._provers[extractor].low

    def commissioned(self) -> None:
        """Take what was just commissioned."""
        for source in self.sources.values():
            source.commissioned()

    def save(self) -> dict[str, Any]:
        """Give all that must survive a restart, as plain JSON."""
        return {
            "due": self.due,
            "sources": {name: source.save() for name, source in self.sources.items()},
            "provers": {name: prover.save() for name, prover in self._provers.items()},
        }

    def restore(self, saved: dict[str, Any], shift: int) -> None:
        """Take back what `save` gave; `shift` (ms) turns its times into those of this boot."""
        if not saved:
            return
        for name, source in self.sources.items():
            if name in saved["sources"]:
                source.restore(saved["sources"][name], shift)
        for name, prover in self._provers.items():
            if name in saved["provers"]:
                prover.restore(saved["provers"][name], shift)
        for source in self.sources.values():
            self._show(source)
