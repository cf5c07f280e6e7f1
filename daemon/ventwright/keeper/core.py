"""The core: events in, actions out, deterministic, time included. It never asks a clock.

Every event is given a time of its own, later than the one before, and before it is handled all
that has fallen due by then is done at its own time. So the stored log gives the same decisions
when it is played again.
"""

from collections.abc import Callable, Iterable
from typing import Any

from ventwright.alarms.alarm import Alarm
from ventwright.events import (
    Action,
    Event,
    LocalTime,
    Measured,
    Readings,
    Record,
    RelayReport,
    Request,
    Started,
    StoreReport,
    Switch,
    Trouble,
)
from ventwright.extraction.extractor import NEVER, Change, Demand, Extractor, told_state
from ventwright.keeper import ceilings, commissioned
from ventwright.keeper.corrections import Corrections
from ventwright.keeper.quiet_hours import QuietHours
from ventwright.keeper.requests import answer
from ventwright.keeper.sources import Sources
from ventwright.keeper.turning import Turning
from ventwright.keeper.watch import PartWatch, RelayWatch
from ventwright.means.channel import Channel
from ventwright.quality.calibration import in_words
from ventwright.quality.judge import PartKind
from ventwright.quality.marks import Quality
from ventwright.quality.same_air import News, SameAir
from ventwright.settings.model import Settings

BEAT_MS = 1000
"""Even without an event everything is looked at this often."""

_NOTHING = Demand("")
_APART = int(Quality.INCONSISTENT_PARTS)

LATE_MS = 2900
"""How late a beat may be worked off, its time being its own: events work it off in passing.

Without them only what nobody waits for by the second is told that late, such as a lost part.
"""


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


class Core:
    """The judgement of one room."""

    def __init__(self, settings: Settings, kinds: dict[str, PartKind], t: int) -> None:
        """Start at `t` ms with everything normal and every extractor in standby."""
        self.settings = settings
        self.now = t
        self._beat = t + BEAT_MS
        self.parts = {
            name: PartWatch(name, kinds[name], entry.quantities, t)
            for name, entry in settings.parts.items()
        }
        self.relays = {name: RelayWatch() for name in settings.relays}
        self.channels = {c.name: c for part in self.parts.values() for c in part.channels}
        for channel in self.channels.values():
            channel.watch(60_000)
        periods = {name: part.kind.period for name, part in self.parts.items()}
        self.same_air = SameAir(settings.same_air, self.channels, periods)
        self.alarms = {
            name: Alarm(name, entry, self.channels[entry.channel])
            for name, entry in settings.alarms.items()
        }
        self._all = list(self.alarms.values())
        self.extractors = {
            name: Extractor(name, entry, t) for name, entry in settings.extractors.items()
        }
        self.commissioned: dict[str, commissioned.Commissioned] = {}
        """What was measured of each extractor, the newest."""
        self._of_part = {
            part.name: [a for a in self.alarms.values() if a.channel in part.channels]
            for part in self.parts.values()
        }
        self.corrections = Corrections(settings)
        self._deciding = self._deciding_channels()
        emitting = [a.channel for a in self._all if a.settings.compare == "emission"]
        self.sources = Sources(self, [*self._deciding, *emitting])
        self.hours = QuietHours(settings)
        self.turning = Turning(settings, self.channels)
        self.store_failing = ""
        self._ends = self._first_end()
        self._out: list[Action] = []
        self._told: list[dict[str, Any]] = []
        self._hands: dict[type, Callable[[Any], None]] = {
            Measured: self._measured,
            Readings: self._judged,
            Started: self._started,
            Trouble: self._trouble,
            RelayReport: self._relay_report,
            StoreReport: self._store_report,
            Request: self._request,
            LocalTime: self._local_time,
        }

    def _deciding_channels(self) -> list[Channel]:
        """The channels on which extraction is decided, each once."""
        found = {a.channel.name: a.channel for a in self._all if a.settings.extract}
        for channel in found.values():
            channel.decides = True
        return list(found.values())

    def handle(self, event: Event) -> list[Action]:
        """Take an event; returns what is to be done because of it and of the time it has."""
        t = max(event.t, self.now + 1)
        self._pass(t)
        self.now = t
        self._hands[type(event)](event)
        return self._taken()

    def advance(self, t: int) -> list[Action]:
        """Let the time `t` ms come; returns what fell due by then."""
        self._pass(t)
        return self._taken()

    def _taken(self) -> list[Action]:
        self._ends = self._first_end()
        out, self._out = self._out, []
        return out

    def _pass(self, t: int) -> None:
        while (due := self.due) <= t:
            self.now = max(due, self.now)
            if self.now >= self._beat:
                self._beat += BEAT_MS * (1 + (self.now - self._beat) // BEAT_MS)
            self._look([a for a in self._all if not a.quiet(self.now)])
            self._missing()
            self._decide()
            self._turn()
            self._ends = self._first_end()

    @property
    def due(self) -> int:
        """When something is to be decided even if no event comes, ms."""
        return max(min(self._beat, self._ends), self.now)

    @property
    def wake(self) -> int:
        """When to call `advance` if no event comes, ms: a beat may wait for the next event."""
        return min(self._beat + LATE_MS, self._ends)

    def _first_end(self) -> int:
        """When the first delay, hold or minimum time ends, ms."""
        ends = NEVER
        for alarm in self._all:
            if (when := alarm.due) is not None and when < ends:
                ends = when
        for extractor in self.extractors.values():
            ends = min(ends, extractor.due)
        return ends

    def _measured(self, event: Measured) -> None:
        part, now = self.parts[event.part], self.now
        try:
            steps, marks = part.judge.judge(now, event.sample)
        except (TypeError, ValueError) as error:  # a driver's bug costs its own part only
            part.failing(now, f"its driver gave no proper sample: {error}")
            return
        steps, marks = self.corrections.apply(event.part, now, steps, marks)
        own = marks
        news: list[News] = []
        if part.name in self.same_air.parts:
            marks, news = self.same_air.take(part.channels, now, steps, own)
        self._out.append(Readings(now, event.part, steps, marks))
        if ailment := part.heard_at(now, own, event.sample.fault):
            part.failing(now, ailment, partly=part.usable)
        elif part.trouble is not None and part.well():
            self._record("part", part.name, {"change": "back", "why": ""})
        part.marks = marks
        self._agreement(news)
        self._learn(part, steps, marks)

    def _judged(self, event: Readings) -> None:
        """Take readings of a log: their marks were given when they were stored."""
        part = self.parts[event.part]
        part.heard, marks = self.now, event.marks
        if part.name in self.same_air.parts:
            marks, news = self.same_air.take(part.channels, self.now, event.steps, marks)
            self._agreement(news)
        self._learn(part, event.steps, marks)

    def _agreement(self, news: list[News]) -> None:
        for pair, body in news:
            self._record("same air", pair, body)

    def _learn(self, part: PartWatch, steps: tuple[int | None, ...], marks: bytes) -> None:
        now = self.now
        for channel, step, mark in zip(part.channels, steps, marks, strict=True):
            if not mark or (mark == _APART and self.same_air.counts(channel.name, now)):
                channel.add(now, step)  # type: ignore[arg-type]
                if channel.decides:
                    channel.trust(now)
        if now >= self.sources.due:
            self.sources.step()
        if alarms := self._of_part[part.name]:
            self._look(alarms)
            self._decide()

    def _started(self, event: Started) -> None:
        part = self.parts[event.part]
        part.heard = self.now
        part.judge.begin(self.now)

    def _trouble(self, event: Trouble) -> None:
        self.parts[event.part].failing(self.now, event.why)

    def _relay_report(self, event: RelayReport) -> None:
        change = self.relays[event.relay].report(event.commanded, event.state, event.why)
        if change:
            why = self.relays[event.relay].failing
            body = {"change": change, "why": why, "commanded": event.commanded}
            self._record("relay", event.relay, body)

    def _store_report(self, event: StoreReport) -> None:
        if event.aside:
            told = {"change": "set aside", "why": event.why, "file": event.aside}
            self._record("store", "store", told)
            return
        if event.most is not None:
            self._record("store", "store", {"change": "shortened", "most": event.most})
            return
        self.store_failing = event.why
        change = "failing" if event.why else "back"
        body = {"change": change, "why": event.why, "dropped": event.dropped}
        self._record("store", "store", body)

    def _request(self, event: Request) -> None:
        said = answer(self, event)
        self._record(
            "request",
            str(event.words.get("name", "")),
            {"verb": event.verb, "words": event.words, "who": event.who, "answer": said},
        )
        self._decide()

    def _local_time(self, event: LocalTime) -> None:
        self.hours.local = event.local
        self._record("clock", "local time", {"local": event.local})
        self._decide()

    def _missing(self) -> None:
        for part in self.parts.values():
            if part.gone(self.now):
                why = part.trouble[1] if part.trouble else ""
                body = {"change": "lost", "why": why, "partly": part.partly}
                self._record("part", part.name, body)

    def _look(self, alarms: Iterable[Alarm]) -> None:
        for alarm in alarms:
            for change in alarm.evaluate(self.now):
                self.tell(alarm, change)

    def tell(self, alarm: Alarm, change: str) -> None:
        """Record a change of an alarm with all that a message needs to say."""
        self._told.append({"change": change, **self._alarm_body(alarm)})
        self._record("alarm", alarm.name, self._told[-1])

    def _alarm_body(self, alarm: Alarm) -> dict[str, Any]:
        settings, look, quantity = alarm.settings, alarm.look, alarm.channel.quantity
        return {
            "state": alarm.state.value,
            "priority": settings.priority,
            "channel": settings.channel,
            "quantity": quantity.name,
            "unit": alarm.unit,
            "compare": settings.compare,
            "over": settings.over,
            "value": alarm.value,
            "mean": look.mean,
            "baseline": look.base,
            "baseline_sigma": _short(alarm.channel.base_sigma),
            "rise_sigma": _short(alarm.channel.rise_sigma(settings.over)),
            "young": alarm.channel.baseline.young,
            "rise": look.rise,
            "setpoint": round(alarm.setpoint, 2),
            "deadband": round(alarm.deadband, 2),
            "settled": alarm.settings.settled,
            "expected": _short(look.expected),
            "coverage": round(look.coverage, 4),
            "since": alarm.since,
            "peak": alarm.peak,
            "dose": None if alarm.dose is None else round(alarm.dose, 3),
            "reaches": look.reaches,
            "activations": alarm.habits.activations(self.now),
            "limit": settings.limit,
            "optical": self.parts[settings.channel.partition(".")[0]].kind.optical,
        }

    def _decide(self) -> None:
        """Let the extractors decide, and complete what was told of alarms with what they do."""
        if not self.extractors and not self._told:
            return
        ceilings.lift(self.extractors.values(), self.channels, self.now)
        fresh = self._fresh()
        for extractor in self.extractors.values():
            was_on = extractor.on
            change = extractor.step(self.now, self._demand(extractor), fresh)
            if change:
                self._record_extractor(extractor, change)
            if extractor.on != was_on:
                self._out.append(Switch(self.now, extractor.settings.relay, extractor.on))
                self.sources.switched()
        states = {name: told_state(e) for name, e in self.extractors.items()}
        while self._told:
            body = self._told.pop()
            body["extractors"], body["clear"] = states, self.sources.clear(body["channel"])

    def _demand(self, extractor: Extractor) -> Demand:
        asking = [alarm for alarm in self._all if alarm.extracting]
        if not asking:
            return _NOTHING
        why = f"alarm {', '.join(alarm.name for alarm in asking)}"
        return Demand(why, self.hours.keep_off(extractor, asking, self.now))

    def _fresh(self) -> int | None:
        """When a deciding channel could last be trusted, ms; None where nothing decides."""
        if not self._deciding:
            return None
        return max([c.trusted for c in self._deciding])

    def _turn(self) -> None:
        for name, body in self.turning.look(self.extractors.values(), self.now):
            self._record("fan", name, body)

    def _record_extractor(self, extractor: Extractor, change: Change) -> None:
        body = {
            "from": change.before.value,
            "to": change.after.value,
            "on": extractor.on,
            "why": change.why,
            "about": change.about,
        }
        self._record("extractor", extractor.name, body)

    def note(self, kind: str, subject: str, body: dict[str, Any]) -> None:
        """Record what somebody wants to be kept; nothing is decided by it."""
        self._record(kind, subject, body)

    def _record(self, kind: str, subject: str, body: dict[str, Any]) -> None:
        self._out.append(Record(self.now, kind, subject, body))

    def commands(self) -> dict[str, bool]:
        """What every relay of an extractor is to be now."""
        return {e.settings.relay: e.on for e in self.extractors.values()}

    def save(self) -> dict[str, Any]:
        """Give what must survive a restart, as plain JSON."""
        return {
            "same air": self.same_air.save(),
            "calibration": in_words(self.settings.parts),
            "t": self.now,
            "alarms": {name: alarm.save() for name, alarm in self.alarms.items()},
            "extractors": {name: e.save() for name, e in self.extractors.items()},
            "commissioned": commissioned.save(self.commissioned),
            "sources": self.sources.save(),
            "wear": {p.name: p.save_wear() for p in self.parts.values() if p.kind.optical},
            "baselines": {name: c.save_baseline() for name, c in self.channels.items()},
        }

    def restore_baselines(self, saved: dict[str, Any], same_boot: bool) -> None:
        """Take back what baselines knew when `save` was called; stored readings may follow.

        Each channel's `resume` must follow them.
        """
        for name, known in saved["baselines"].items():
            if name in self.channels:
                self.channels[name].restore_baseline(known, saved["t"] if same_boot else None)

    def restore(self, saved: dict[str, Any], same_boot: bool) -> None:
        """Take back what `save` gave, of this boot or (times then count from now) of another."""
        shift = 0 if same_boot else self.now - saved["t"]
        for name, worn in saved.get("wear", {}).items():
            if name in self.parts:
                self.parts[name].restore_wear(worn)
        for name, alarm in self.alarms.items():
            if name in saved["alarms"]:
                alarm.restore(saved["alarms"][name], shift)
                if same_boot:
                    alarm.catch_up()
        for name, extractor in self.extractors.items():
            if name in saved["extractors"]:
                safe = self.settings.relays[extractor.settings.relay].safe_state == "on"
                extractor.restore(saved["extractors"][name], shift, self.now, safe)
                ceilings.follow_again(extractor, self.channels, self.now)
        self.commissioned = commissioned.restore(saved.get("commissioned", {}), shift)
        self.sources.restore(saved.get("sources", {}), shift)
        self._ends = self._first_end()
