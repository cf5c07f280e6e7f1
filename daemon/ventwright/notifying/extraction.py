"""Messages about fans and sources: does the fan turn, does it clear the air, when is it clear."""

from typing import Any

from ventwright.notifying.message import Context, Message, at, reason, text
from ventwright.notifying.naming import NOT_SEEN, naming
from ventwright.settings.model import MINUTE
from ventwright.storage.reader import StoredEvent

WORTH_TELLING_MS = 45 * MINUTE
"""A recovery that takes longer is worth a message of its own; else the alarm's end is soon told."""

ABOUT = ("longest run", "quiet hours")
"""What an extractor's record may be about, beside a change of its state, that is told."""


def about_message(event: StoredEvent, context: Context) -> Message:
    """Tell of a longest run that is over, or of quiet hours that keep a fan off."""
    name, room, about = event.subject, context.room, str(event.body.get("about"))
    ran = about == "longest run"
    said = text(
        f"The extractor {name}: {event.body.get('why')}.",
        at(context, event.t, "At"),
        "Look for a source that goes on, or for a filter that is full." if ran else "",
        "" if ran else "Hold it on if the air matters more: the `hold` command.",
    )
    title = "has run very long" if ran else "is kept off by quiet hours"
    key = f"{about} {name} {event.t}"
    return Message(key, "begin", "medium" if ran else "low", f"{room}: {name} {title}", said)


def fan(event: StoredEvent, context: Context) -> Message | None:
    """Tell of a fan that does not do what its relay was told, by its tachometer."""
    name, room, key = event.subject, context.room, f"fan {event.subject}"
    if event.body.get("change") == "failed":
        said = text(
            f"The tachometer of {name} does not confirm the relay.",
            reason(event.body),
            at(context, event.t),
            "Look at the fan: its supply, its fuse, its blades.",
        )
        return Message(key, "begin", "high", f"{room}: fan {name} does not obey", said)
    if event.body.get("change") == "back":
        unheard = f"{room}: fan {name} did not obey for a while, does again"
        said = text(f"The tachometer of {name} confirms again.", at(context, event.t, "At"))
        return Message(key, "end", "high", f"{room}: fan {name} obeys again", said, unheard)
    return None


def clearance(event: StoredEvent, context: Context) -> Message | None:
    """Tell that the air does not clear as commissioned, or that it does again."""
    body, name, room = event.body, event.subject, context.room
    key, share = f"clearance {name}", f"{100 * float(body.get('share') or 0):.0f} %"
    if body.get("change") == "low":
        doubt = 100 * 1.645 * float(body.get("share_sigma") or 0)
        said = text(
            f"Clearance by {name} is {share} of what was commissioned (give or take "
            f"{doubt:.0f}): "
            f"{_rate(body, 'clearance')} air changes an hour instead of "
            f"{_rate(body, 'commissioned')}.",
            at(context, event.t),
            "Look at the filter, the duct, the window that lets air in.",
            "It keeps extracting.",
        )
        return Message(key, "begin", "medium", f"{room}: {name} clears {share} of usual", said)
    if body.get("change") == "back":
        said = text(
            f"Clearance by {name} is {share} of what was commissioned.", at(context, event.t, "At")
        )
        unheard = f"{room}: {name} cleared too little for a while"
        return Message(key, "end", "low", f"{room}: {name} clears as it should", said, unheard)
    return None


def _rate(body: dict[str, Any], key: str) -> str:
    return f"{float(body.get(key) or 0):.1f}"


GUESSED = "The room is not commissioned: the rate at which its air clears is a guess."


def source(event: StoredEvent, context: Context) -> Message | None:
    """Tell when the air will be clear, once nothing emits any more, if that is not soon."""
    body, room = event.body, context.room
    clear = body.get("clear")
    if body.get("change") != "ended" or not clear or clear["about"] - event.t < WORTH_TELLING_MS:
        return None
    part, _, quantity = event.subject.partition(".")
    said = text(
        f"Nothing seems to emit at {part} any more.",
        clear_words(body.get("clear"), context),
        f"Put into the air: about {amounts(body)}.",
        "" if body.get("measured", True) else GUESSED,
        NOT_SEEN if naming(quantity).subject == "particles" else "",
    )
    key = f"source {event.subject}"
    return Message(key, "end", "low", f"{room}: source ended, air recovering", said)


def amounts(body: dict[str, Any]) -> str:
    """Write what was put in, with its uncertainty: `3.1 mg, give or take 0.4`."""
    total, sigma, unit = body.get("total") or 0.0, body.get("total_sigma") or 0.0, "mg"
    if body.get("total_unit") != "µg":
        return f"{total:.0f} {body.get('total_unit')}"
    return f"{total / 1000:.2g} {unit} (give or take {1.645 * sigma / 1000:.1g})"


def clear_words(clear: dict[str, Any] | None, context: Context) -> str:
    """Write `Clear by about 14:31, 14:26 to 14:38.`; nothing while clocks are not trusted."""
    times = [context.time_of_day(clear[key]) for key in ("about", "from", "to")] if clear else []
    if not clear or None in times:
        return ""
    when = f"lear by about {times[0]}, {times[1]} to {times[2]}"
    if clear.get("emits"):
        return f"Something emits; if it stopped now: c{when}."
    return f"C{when}." if clear.get("measured", True) else f"If nothing emits any more: c{when}."
