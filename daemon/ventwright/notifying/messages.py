"""Turns what happened into messages that are understood at a glance on a lock screen.

Pure functions: a stored event, the settings and a way to name times of day go in.
"""

from collections.abc import Callable

from ventwright.events import DIED, REBOOTED, SPOILT, STOPPED
from ventwright.notifying.alarms import alarm_message
from ventwright.notifying.extraction import ABOUT, about_message, clearance, fan, source
from ventwright.notifying.message import Context, Message, at, reason, span, text
from ventwright.notifying.words import amount
from ventwright.settings.durations import format_duration
from ventwright.settings.model import MINUTE
from ventwright.storage.reader import StoredEvent

__all__ = ["Context", "Message", "compose"]

SHORTEST_GAP_MS = MINUTE
"""A time without a keeper that is worth a message."""


def compose(event: StoredEvent, context: Context) -> Message | None:
    """Make the message that an event deserves, or None."""
    maker = _MAKERS.get(event.kind)
    return maker(event, context) if maker else None


def _extractor(event: StoredEvent, context: Context) -> Message | None:
    body = event.body
    if body.get("about") in ABOUT:
        return about_message(event, context)
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
            text(
                f"No sensor that {name} depends on gives usable readings, so the air is unknown.",
                f"The extractor is {fan}, as chosen for this case.",
                reason(body),
                at(context, event.t),
                "Check the sensors and their cables.",
            ),
        )
    return Message(
        key,
        "end",
        "medium",
        f"{room}: {name} has trustworthy data again",
        text(f"The extractor {name} decides on readings again.", at(context, event.t, "At")),
        unheard=f"{room}: {name} was without trustworthy data for a while",
    )


def _lost(room: str, name: str, partly: bool) -> str:
    return f"{room}: part {name} {'fails in part' if partly else 'lost'}"


def _part(event: StoredEvent, context: Context) -> Message | None:
    change, name, room = event.body.get("change"), event.subject, context.room
    if change == "lost":
        partly = bool(event.body.get("partly"))
        what = "some of its readings no longer" if partly else "no usable readings"
        body = text(
            f"Part {name} gives {what}.",
            reason(event.body),
            at(context, event.t),
            "It is taken back by itself. Check its cable and power; while the daemon is stopped,",
            "`ventwright check` says what is there.",
        )
        return Message(f"part {name}", "begin", "medium", _lost(room, name, partly), body)
    if change == "back":
        body = text(f"Part {name} can be read again.", at(context, event.t, "At"))
        unheard = f"{room}: part {name} was lost for a while, is back"
        return Message(f"part {name}", "end", "low", f"{room}: part {name} is back", body, unheard)
    return None


def _same_air(event: StoredEvent, context: Context) -> Message | None:
    body, key, room = event.body, f"same air {event.subject}", context.room
    channels = [str(one) for one in body.get("channels") or ()]
    who = " and ".join(one.partition(".")[0] for one in channels) or event.subject
    if body.get("change") == "agree":
        said = text(f"The parts {who} agree again.", at(context, event.t, "At"))
        unheard = f"{room}: {who} disagreed for a while"
        return Message(key, "end", "low", f"{room}: {who} agree again", said, unheard)
    if body.get("change") != "disagree":
        return None
    pairs = zip(channels, body.get("means") or (), strict=False)
    means = ", ".join(f"{one} {amount(mean, body.get('unit') or '', 1)}" for one, mean in pairs)
    said = text(
        f"They measure the same air and differ: {means}." if means else "",
        at(context, event.t),
        f"Until they agree the higher one counts: {body.get('counts')}.",
        "Look for dust in an inlet, a dead fan, or a part that hangs in other air.",
    )
    return Message(key, "begin", "medium", f"{room}: {who} disagree", said)


def _relay(event: StoredEvent, context: Context) -> Message | None:
    change, name, room = event.body.get("change"), event.subject, context.room
    fan = context.relays.get(name)
    behind = f" (extractor {fan})" if fan else ""
    wanted = "on" if event.body.get("commanded") else "off"
    if change == "failed":
        body = text(
            f"Relay {name}{behind} does not do what it is told; wanted: {wanted}.",
            reason(event.body),
            at(context, event.t),
            "It is tried again and again. Look whether the fan runs.",
        )
        return Message(f"relay {name}", "begin", "high", f"{room}: relay {name} failed", body)
    if change == "back":
        body = text(f"Relay {name}{behind} obeys again; it is {wanted}.")
        unheard = f"{room}: relay {name} failed for a while, works again"
        return Message(
            f"relay {name}", "end", "high", f"{room}: relay {name} works again", body, unheard
        )
    return None


def store_failing(context: Context, why: str) -> Message:
    """Say that readings cannot be stored, for the reason given."""
    body = text(
        "Readings cannot be stored at present.",
        reason({"why": why}),
        "Measuring, alarms and extraction go on. Check for a full or worn-out disk.",
    )
    return Message("store", "begin", "medium", f"{context.room}: readings cannot be stored", body)


def store_back(context: Context, dropped: int = 0) -> Message:
    """Say that readings are stored again, and how many were lost."""
    many = "One reading was lost." if dropped == 1 else f"{dropped} readings were lost."
    lost = many if dropped else "No reading was lost."
    unheard = f"{context.room}: readings could not be stored for a while"
    title = f"{context.room}: readings are stored again"
    return Message("store", "end", "low", title, lost, unheard)


def _store_damaged(event: StoredEvent, context: Context) -> Message:
    body = text(
        "The file of stored readings was found to be damaged; a new one was begun.",
        reason(event.body),
        f"The damaged file was kept as {event.body.get('file')}.",
        at(context, event.t),
        "Measuring, alarms and extraction go on. Memory cards wear out: think of a new one.",
    )
    return Message(
        "store damaged", "begin", "medium", f"{context.room}: stored readings are damaged", body
    )


def _store_shortened(event: StoredEvent, context: Context) -> Message:
    body = text(
        "The store has no room for all that was to be kept: it may use "
        f"{event.body.get('most')} MB (most_megabytes of [store]).",
        "What is old goes earlier than configured, readings first. This is told once.",
        at(context, event.t),
        "Measuring, alarms and extraction go on.",
    )
    title = f"{context.room}: readings are kept for less time than configured"
    return Message("store room", "begin", "low", title, body)


def _store(event: StoredEvent, context: Context) -> Message | None:
    change = event.body.get("change")
    if change == "set aside":
        return _store_damaged(event, context)
    if change == "shortened":
        return _store_shortened(event, context)
    if change == "failing":
        return store_failing(context, str(event.body.get("why") or ""))
    return store_back(context, event.body.get("dropped") or 0) if change == "back" else None


def _is_worth_telling(why: str | None, missed: int | None) -> bool:
    """Tell what the owner has to know: a death or a loss always, what he did himself never."""
    if why in (DIED, SPOILT, STOPPED):
        return why != STOPPED
    return why == REBOOTED if missed is None else missed > SHORTEST_GAP_MS


def _keeper(event: StoredEvent, context: Context) -> Message | None:
    missed, why = event.body.get("missed"), event.body.get("why")
    if event.body.get("change") != "started" or not _is_worth_telling(why, missed):
        return None
    gap = "an unknown time" if missed is None else format_duration(max(1000, missed))
    body = text(
        f"Nothing was measured for {gap}.",
        reason(event.body),
        "Meanwhile the extractor was in its safe state." if context.relays else "",
        at(context, event.t, "Measuring again since"),
    )
    title = f"{context.room}: watching again after {gap}"
    return Message("keeper", "end", "medium", title, body, title)


def keeper_down(context: Context, gone: int) -> Message:
    """Say that the keeper has given no sign for `gone` ms."""
    body = text(
        f"The keeper has given no sign of life for {format_duration(gone)}.",
        "Nothing is measured and no alarm will come.",
        "The extractor is in its safe state." if context.relays else "",
        "Look at the machine.",
    )
    return Message("keeper", "begin", "high", f"{context.room}: the watch itself is down", body)


def keeper_back(context: Context) -> Message:
    """Say that the keeper gives signs again."""
    room = context.room
    unheard = f"{room}: the watch was down for a while, is back"
    return Message(
        "keeper", "end", "medium", f"{room}: the watch is back", "It measures again.", unheard
    )


def notes_begun_anew(context: Context, why: str, file: str) -> Message:
    """Say that the courier has lost its notes, and what of it the owner will see."""
    body = text(
        "The file in which is noted what was told and what was pushed could not be used; a new "
        "one was begun.",
        f"Reason: {why}.",
        f"The old file was kept as {file}.",
        "What happened of late may be told once more. No reading is lost.",
        "Unless this machine was just set back to an older version its memory card may be worn "
        "out: think of a new one.",
    )
    title = f"{context.room}: notes of what was told begun anew"
    return Message("notes", "begin", "medium", title, body)


def database_failing(context: Context, since: int, now: int, events_only: bool = False) -> Message:
    """Say that the database has not answered, or taken no events, since a time (ms)."""
    time = context.time_of_day(since)
    when = f"since {time}" if time else f"for {format_duration(now - since)}"
    if events_only:
        body = (
            f"The database takes readings, but has refused all events {when}. Events are kept and "
            "sent later, until they are twice as old as they are to be kept. Check that the token "
            "may write to all measurements."
        )
        title = f"{context.room}: database refuses events"
        return Message("database", "begin", "low", title, body)
    body = f"The database has not answered {when}. Readings are kept and sent later."
    return Message("database", "begin", "low", f"{context.room}: database does not answer", body)


def database_back(context: Context, since: int, now: int, events_only: bool = False) -> Message:
    """Say that the database takes all again, after it had not since a time (ms of this boot)."""
    if events_only:
        title = f"{context.room}: database takes events again"
        body = f"It refused them {span(context, since, now)}. Kept events are being sent."
        return Message("database", "end", "low", title, body, title)
    unheard = f"{context.room}: database did not answer for a while, is back"
    body = f"It did not answer {span(context, since, now)}. Kept readings are being sent."
    title = f"{context.room}: database answers again"
    return Message("database", "end", "low", title, body, unheard)


_MAKERS: dict[str, Callable[[StoredEvent, Context], Message | None]] = {
    "alarm": alarm_message,
    "extractor": _extractor,
    "part": _part,
    "same air": _same_air,
    "relay": _relay,
    "store": _store,
    "keeper": _keeper,
    "fan": fan,
    "clearance": clearance,
    "source": source,
}
