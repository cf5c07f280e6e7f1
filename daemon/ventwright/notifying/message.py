"""A message, what it is made from beside the event, and phrases that many of them use."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from ventwright.settings.durations import format_duration


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


def span(context: Context, start: int, end: int) -> str:
    """Write `from 14:05 to 14:30 (25 min)`, or the length alone."""
    first, last = context.time_of_day(start), context.time_of_day(end)
    length = format_duration(max(0, end - start))
    return f"from {first} to {last} ({length})" if first and last else f"for {length}"


def at(context: Context, t: int, word: str = "Since") -> str:
    """Write `Since 14:05.`, or nothing while the clock is not trusted."""
    time = context.time_of_day(t)
    return f"{word} {time}." if time else ""


def text(*sentences: str) -> str:
    """Join the sentences that are there."""
    return " ".join(filter(None, sentences))


def reason(body: Mapping[str, Any], word: str = "Reason") -> str:
    """Write `Reason: no answer.`, or nothing where none is known."""
    why = str(body.get("why") or "").rstrip(".")
    return f"{word}: {why}." if why else ""
