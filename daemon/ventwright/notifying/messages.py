"""Turns what happened into messages that are understood at a glance on a lock screen.

Pure functions: a stored event, the settings and a way to name times of day go in.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from ventwright.notifying.words import amount, extractor_words, signed, subject_of
from ventwright.settings.durations import format_duration
from ventwright.settings.model import MINUTE
from ventwright.storage.reader import StoredEvent
from ventwright_drivers.quantities import QUANTITIES

SHORTEST_GAP_MS = MINUTE
"""A time without a keeper that is worth a message."""

_NOT_SEEN = "Low-cost optical sensors do not see ultrafine particles."
_NOT_CERTIFIED = "Not a certified alarm."


class Message(NamedTuple):
    """What is told, and how it stands to other messages of the same key."""

    key: str
    """What it is about; of several waiting messages of one key only the newest is sent."""
    stage: str
    """begin, worse or end of something"""
    priority: str
    title: str
    body: str
    unheard: str = ""
    """The title of an end, where its beginning was never told."""


@dataclass(frozen=True)
class Context:
    """What messages need to know beside the event."""

    room: str
    limits: Mapping[str, str] = field(default_factory=dict)
    """A sentence for each published limit."""
    relays: Mapping[str, str] = field(default_factory=dict)
    """The extractor behind each relay."""
    time_of_day: Callable[[int], str | None] = lambda _t: None
    """Names a time (ms of the event's boot) as local time; None while that is not known."""


def compose(event: StoredEvent, context: Context) -> Message | None:
    """Make the message that an event deserves, or None."""
    maker = _MAKERS.get(event.kind)
    return maker(event, context) if maker else None


def _span(context: Context, start: int, end: int) -> str:
    """Write `from 14:05 to 14:30 (25 min)`, or the length alone."""
    first, last = context.time_of_day(start), context.time_of_day(end)
    length = format_duration(max(0, end - start))
    return f"from {first} to {last} ({length})" if first and last else f"for {length}"


def _at(context: Context, t: int, word: str = "Since") -> str:
    time = context.time_of_day(t)
    return f"{word} {time}." if time else ""


def _text(*sentences: str) -> str:
    return " ".join(filter(None, sentences))


class _Alarm:
    """The body of an alarm event, in words."""

    def __init__(self, event: StoredEvent, context: Context) -> None:
        self.body, self.context, self.t = event.body, context, event.t
        quantity = QUANTITIES.get(str(self.body.get("quantity")))
        self.name = quantity.title if quantity else str(self.body.get("quantity"))
        self.subject = subject_of(str(self.body.get("quantity")), self.name)
        self.unit = self.body.get("unit") or (quantity.unit if quantity else "")
        self.rise = self.body.get("compare") == "rise"

    def short(self, value: float | None) -> str:
        """Write `PM2.5 +23 µg/m³`; the name only where the subject does not say it."""
        written = signed(value, self.unit) if self.rise else amount(value, self.unit)
        return written if self.subject == self.name else f"{self.name} {written}"

    def measured(self) -> str:
        """Say what was measured over what, and what it is usually."""
        body = self.body
        part = str(body.get("channel") or "").partition(".")[0]
        where = f" at {part}" if part else ""
        mean = body.get("mean") if body.get("mean") is not None else body.get("value")
        over = format_duration(body.get("over") or 0)
        first = f"{self.name}{where} averaged {amount(mean, self.unit, 1)} over {over}"
        return f"{first}{self._baseline()}."

    def _baseline(self) -> str:
        body = self.body
        if body.get("baseline") is None or body.get("rise") is None:
            return "; this room's baseline is not known yet"
        young = " (young, so uncertain)" if body.get("young") else ""
        where = "above" if body["rise"] >= 0 else "below"
        usual = f"this room's baseline of {body['baseline']:.1f}"
        return f", {abs(body['rise']):.1f} {where} {usual}{young}"

    def setpoint(self) -> str:
        """Say where the alarm stands."""
        what = "rise" if self.rise else "mean"
        return f"Setpoint: {what} of {amount(self.body.get('setpoint'), self.unit)}."

    def limit(self) -> str:
        """Say which published limit it compares with."""
        sentence = self.context.limits.get(str(self.body.get("limit")), "").rstrip(".")
        return f"For comparison: {sentence}." if sentence else ""

    def honesty(self) -> str:
        """Say what is not seen, and what this is not."""
        return _text(_NOT_SEEN if self.body.get("optical") else "", _NOT_CERTIFIED)


def _alarm(event: StoredEvent, context: Context) -> Message | None:
    makers = {"raised": _alarm_on, "worse": _alarm_on, "cleared": _alarm_over}
    maker = makers.get(str(event.body.get("change")))
    return maker(event, _Alarm(event, context)) if maker else None


def _alarm_on(event: StoredEvent, alarm: _Alarm) -> Message:
    body, context = event.body, alarm.context
    worse = body["change"] == "worse"
    verb = ("rising further" if worse else "rising") if alarm.rise else "too high"
    verb = "higher still" if worse and not alarm.rise else verb
    advice = "Leave the room and air it." if body.get("quantity") == "co" else "Best stay out."
    return Message(
        key=f"alarm {event.subject}",
        stage="worse" if worse else "begin",
        priority=str(body.get("priority") or "medium"),
        title=f"{context.room}: {alarm.subject} {verb} ({alarm.short(body.get('value'))})",
        body=_text(
            alarm.measured(),
            alarm.setpoint(),
            _at(context, body.get("since") or event.t),
            extractor_words(body.get("extractors") or {}),
            advice,
            alarm.limit(),
            alarm.honesty(),
        ),
    )


def _alarm_over(event: StoredEvent, alarm: _Alarm) -> Message:
    body, context = event.body, alarm.context
    since = body.get("since")
    lasted = f"It lasted {_span(context, since, event.t)}." if since is not None else ""
    peak = alarm.short(body.get("peak"))
    subject = f"{context.room}: {alarm.subject}"
    return Message(
        key=f"alarm {event.subject}",
        stage="end",
        priority="low",
        title=f"{subject} back to normal (peak {peak})",
        unheard=f"{subject} went up (peak {peak}), back to normal now",
        body=_text(
            lasted,
            f"Peak: {peak}.",
            alarm.measured(),
            extractor_words(body.get("extractors") or {}),
            alarm.honesty(),
        ),
    )


def _extractor(event: StoredEvent, context: Context) -> Message | None:
    body = event.body
    before, after = str(body.get("from")), str(body.get("to"))
    if (before == "blind") == (after == "blind"):
        return None
    key, room, name = f"blind {event.subject}", context.room, event.subject
    fan = "on" if body.get("on") else "off"
    if after == "blind":
        return Message(
            key,
            "begin",
            "high",
            f"{room}: no trustworthy data, {name} is {fan}",
            _text(
                f"No sensor that {name} depends on gives usable readings, so the air is unknown.",
                f"The extractor is {fan}, as chosen for this case.",
                _why(body),
                _at(context, event.t),
                "Check the sensors and their cables.",
            ),
        )
    return Message(
        key,
        "end",
        "medium",
        f"{room}: {name} has trustworthy data again",
        _text(f"The extractor {name} decides on readings again.", _at(context, event.t, "At")),
        unheard=f"{room}: {name} had no trustworthy data for a while, has it again",
    )


def _why(body: Mapping[str, Any], word: str = "Reason") -> str:
    why = str(body.get("why") or "").rstrip(".")
    return f"{word}: {why}." if why else ""


def _lost(room: str, name: str, partly: bool) -> str:
    return f"{room}: part {name} {'fails in part' if partly else 'lost'}"


def _part(event: StoredEvent, context: Context) -> Message | None:
    change, name, room = event.body.get("change"), event.subject, context.room
    if change == "lost":
        partly = bool(event.body.get("partly"))
        what = "some of its readings no longer" if partly else "no usable readings"
        body = _text(
            f"Part {name} gives {what}.",
            _why(event.body),
            _at(context, event.t),
            "It is taken back by itself. Check its cable and power.",
        )
        return Message(f"part {name}", "begin", "medium", _lost(room, name, partly), body)
    if change == "back":
        body = _text(f"Part {name} can be read again.", _at(context, event.t, "At"))
        unheard = f"{room}: part {name} was lost for a while, is back"
        return Message(f"part {name}", "end", "low", f"{room}: part {name} is back", body, unheard)
    return None


def _relay(event: StoredEvent, context: Context) -> Message | None:
    change, name, room = event.body.get("change"), event.subject, context.room
    fan = context.relays.get(name)
    behind = f" (extractor {fan})" if fan else ""
    wanted = "on" if event.body.get("commanded") else "off"
    if change == "failed":
        body = _text(
            f"Relay {name}{behind} does not do what it is told; wanted: {wanted}.",
            _why(event.body),
            _at(context, event.t),
            "It is tried again and again. Look whether the fan runs.",
        )
        return Message(f"relay {name}", "begin", "high", f"{room}: relay {name} failed", body)
    if change == "back":
        body = _text(f"Relay {name}{behind} obeys again; it is {wanted}.")
        unheard = f"{room}: relay {name} failed for a while, works again"
        return Message(
            f"relay {name}", "end", "high", f"{room}: relay {name} works again", body, unheard
        )
    return None


def store_failing(context: Context, why: str) -> Message:
    """Say that readings cannot be stored, for the reason given."""
    body = _text(
        "Readings cannot be stored at present.",
        _why({"why": why}),
        "Measuring, alarms and extraction go on. Check for a full or worn-out disk.",
    )
    return Message("store", "begin", "medium", f"{context.room}: readings cannot be stored", body)


def store_back(context: Context, dropped: int = 0) -> Message:
    """Say that readings are stored again, and how many were lost."""
    lost = f"{dropped} readings were lost." if dropped else "No reading was lost."
    unheard = f"{context.room}: readings could not be stored for a while, are again"
    title = f"{context.room}: readings are stored again"
    return Message("store", "end", "low", title, lost, unheard)


def _store(event: StoredEvent, context: Context) -> Message | None:
    change = event.body.get("change")
    if change == "failing":
        return store_failing(context, str(event.body.get("why") or ""))
    return store_back(context, event.body.get("dropped") or 0) if change == "back" else None


def _keeper(event: StoredEvent, context: Context) -> Message | None:
    missed = event.body.get("missed")
    if event.body.get("change") != "started" or not missed or missed <= SHORTEST_GAP_MS:
        return None
    gap = format_duration(missed)
    body = _text(
        f"Nothing was measured for {gap}.",
        _why(event.body),
        "Meanwhile the extractor was in its safe state.",
        _at(context, event.t, "Measuring again since"),
    )
    title = f"{context.room}: watching again after {gap}"
    return Message("keeper", "end", "medium", title, body, title)


def keeper_down(context: Context, gone: int) -> Message:
    """Say that the keeper has given no sign for `gone` ms."""
    body = _text(
        f"The keeper has given no sign of life for {format_duration(gone)}.",
        "Nothing is measured and no alarm will come. The extractor is in its safe state.",
        "Look at the machine.",
    )
    return Message("keeper", "begin", "high", f"{context.room}: the watch itself is down", body)


def keeper_back(context: Context) -> Message:
    """Say that the keeper gives signs again."""
    room = context.room
    unheard = f"{room}: the watch was down for a while, is back"
    return Message("keeper", "end", "medium", f"{room}: the watch is back", "It measures.", unheard)


def database_failing(context: Context, since: int, now: int) -> Message:
    """Say that the database has not answered since a time (ms of this boot)."""
    time = context.time_of_day(since)
    when = f"since {time}" if time else f"for {format_duration(now - since)}"
    body = f"The database has not answered {when}. Readings are kept and sent later."
    return Message("database", "begin", "low", f"{context.room}: database does not answer", body)


def database_back(context: Context, since: int, now: int) -> Message:
    """Say that the database answers again, after it had not since a time (ms of this boot)."""
    unheard = f"{context.room}: database did not answer for a while, is back"
    body = f"It did not answer {_span(context, since, now)}. Kept readings are being sent."
    title = f"{context.room}: database answers again"
    return Message("database", "end", "low", title, body, unheard)


_MAKERS: dict[str, Callable[[StoredEvent, Context], Message | None]] = {
    "alarm": _alarm,
    "extractor": _extractor,
    "part": _part,
    "relay": _relay,
    "store": _store,
    "keeper": _keeper,
}
