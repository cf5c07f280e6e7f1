"""Alarms in words: what, how much over what, since when, what the machine is doing, what to do."""

from collections.abc import Callable

from ventwright.alarms.states import LATCHED, State
from ventwright.notifying.alarm_kinds import alarm_words
from ventwright.notifying.alarm_words import Alarm
from ventwright.notifying.extraction import clear_words
from ventwright.notifying.message import Context, Message, at, span, text
from ventwright.notifying.words import extractor_words
from ventwright.settings.durations import format_duration
from ventwright.settings.model import HOUR
from ventwright.storage.reader import StoredEvent


def alarm_message(event: StoredEvent, context: Context) -> Message | None:
    """Make the message that a change of an alarm deserves; what the owner did himself is none."""
    maker = _MAKERS.get(str(event.body.get("change")))
    return maker(event, alarm_words(event, context)) if maker else None


def _begins(event: StoredEvent, alarm: Alarm) -> Message:
    body, context = event.body, alarm.context
    worse = body["change"] == "worse"
    return Message(
        key=f"alarm {event.subject}",
        stage="worse" if worse else "begin",
        priority=alarm.priority,
        title=f"{context.room}: {alarm.headline(worse)}",
        body=text(
            alarm.advice() if alarm.urgent else "",
            alarm.measured(),
            alarm.setpoint(),
            at(context, body.get("since") or event.t),
            extractor_words(body.get("extractors") or {}),
            "" if alarm.urgent else alarm.advice(),
            clear_words(body.get("clear"), context),
            alarm.limit(),
            alarm.honesty(),
        ),
    )


def _ends(event: StoredEvent, alarm: Alarm) -> Message:
    body, room = event.body, alarm.context.room
    since = body.get("since")
    return Message(
        key=f"alarm {event.subject}",
        stage="end",
        priority="low",
        title=f"{room}: {alarm.is_over()}",
        unheard=f"{room}: {alarm.was()}",
        body=text(
            f"It lasted {span(alarm.context, since, event.t)}." if since is not None else "",
            alarm.peak(),
            alarm.dose(),
            _latched(event),
            alarm.measured(),
            extractor_words(body.get("extractors") or {}),
            alarm.honesty(),
        ),
    )


def _latched(event: StoredEvent) -> str:
    """Say how an alarm is ended that stays although the air has recovered."""
    name, state = event.subject, event.body.get("state")
    if state not in LATCHED:
        return ""
    seen = "" if state == State.LATCHED_ACKNOWLEDGED else f"`ventwright acknowledge {name}`, then "
    return f"The alarm stays until somebody ends it: {seen}`ventwright reset {name}`."


def _chatters(event: StoredEvent, alarm: Alarm) -> Message:
    count = event.body.get("activations") or "many"
    return Message(
        key=f"habit {event.subject}",
        stage="begin",
        priority="low",
        title=f"{alarm.context.room}: alarm {event.subject} keeps coming and going",
        body=text(
            f"It is chattering: raised {count} times within {format_duration(HOUR)}.",
            "Like that it tells little. A larger deadband, longer delays or a longer averaging",
            "time in its configuration calm it.",
        ),
    )


def _stands(event: StoredEvent, alarm: Alarm) -> Message:
    since = event.body.get("since")
    lasted = f"It has lasted {span(alarm.context, since, event.t)}." if since is not None else ""
    return Message(
        key=f"habit {event.subject}",
        stage="begin",
        priority="low",
        title=f"{alarm.context.room}: alarm {event.subject} has stood for a day",
        body=text(
            lasted,
            alarm.measured(),
            alarm.setpoint(),
            "Find what keeps it up; if this is usual here, its setpoint is too low.",
        ),
    )


_MAKERS: dict[str, Callable[[StoredEvent, Alarm], Message]] = {
    "raised": _begins,
    "worse": _begins,
    "cleared": _ends,
    "chattering": _chatters,
    "standing": _stands,
}
