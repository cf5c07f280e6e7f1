"""Turns events into lines of the line protocol, one an event; knows no HTTP and no file.

`room_air_events,room=Workshop,kind=extractor,subject=fan change="...",on=1 1764061200123`, the
time in Unix ms. Fields are the numbers of the event's body, truth values as 1 and 0, what
`_SHOWN` makes of it, and what changed as text. Names of persons and other text stay here.

Two events of one kind and subject in one ms do occur: an alarm is raised and found to chatter by
the same sample. The second and later ones, in the order in which they were stored, have a tag
`nth` more, 2 or above, so that none overwrites another. Boots whose labels overlap are not told
apart, as with readings.
"""

import json
import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from ventwright.alarms.states import State
from ventwright.exporting.lines import escape
from ventwright.storage.reader import StoredEvent

LOOK_BACK = 500
"""Events before one among which those of its ms are found: one step of the core stores fewer."""

_BY_PEOPLE = frozenset({"request", "mark"})
"""Kinds whose texts somebody typed, the name that a request or a test print has, too."""

_RAISED = {
    state.value: float(state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)) for state in State
}
_SHOWN: Mapping[str, tuple[str, str, Mapping[str, float]]] = {
    "alarm": ("active", "state", _RAISED),
    "part": ("lost", "change", {"lost": 1, "back": 0}),
    "relay": ("failing", "change", {"failed": 1, "back": 0}),
    "fan": ("failing", "change", {"failed": 1, "back": 0}),
    "store": ("failing", "change", {"failing": 1, "back": 0}),
    "same air": ("apart", "change", {"disagree": 1, "agree": 0}),
    "keeper": ("running", "change", {"started": 1, "stopped": 0}),
}
"""By kind: a field to be graphed that the body has as text only, where it stands, and its values.

An alarm is `active` while it is raised and nobody has set it aside.
"""

_CONTROL = re.compile(r"[\x00-\x1f\x7f]+")

Key = tuple[int, int, str, str]


def place_of(event: StoredEvent) -> Key:
    """Name what two events may not share at the database: moment, kind and subject."""
    return event.boot, event.t, event.kind, _subject(event)


def lines_of_events(
    start: tuple[str, str],
    before: Iterable[StoredEvent],
    events: Iterable[tuple[StoredEvent, int]],
) -> list[bytes]:
    """Write a line an event; each comes with its boot's offset (Unix ms minus its time).

    `start`: the measurement of readings, and the room. `before`: the `LOOK_BACK` events, or all
    there are, that were stored before the first.
    """
    seen = Counter(map(place_of, before))
    lines = []
    for event, offset in events:
        seen[place_of(event)] += 1
        tags = _tags(start[1], event, seen[place_of(event)])
        fields = ",".join(_fields(event))
        head = escape(f"{start[0]}_events") + "".join(f",{k}={v}" for k, v in tags if v)
        lines.append(f"{head} {fields} {event.t + offset}".encode(errors="replace"))
    return lines


def _subject(event: StoredEvent) -> str:
    """Name what a line is about; what somebody typed is left out."""
    return "" if event.kind in _BY_PEOPLE else event.subject


def _tags(room: str, event: StoredEvent, nth: int) -> list[tuple[str, str]]:
    known = {"room": room, "kind": event.kind, "subject": _subject(event)}
    return [(k, escape(v)) for k, v in known.items()] + [("nth", str(nth) if nth > 1 else "")]


def _fields(event: StoredEvent) -> list[str]:
    change = event.body.get("change")
    text = [] if event.kind in _BY_PEOPLE or not isinstance(change, str) else [_text(change)]
    return text + (_numbers(event) or ["count=1"])


def _text(change: str) -> str:
    return f"change={json.dumps(_CONTROL.sub(' ', change), ensure_ascii=False)}"


def _numbers(event: StoredEvent) -> list[str]:
    found = {k: v for k, v in {**event.body, **_shown(event)}.items() if k != "change"}
    named = ((escape(key), _number(value)) for key, value in found.items())
    return [f"{key}={value}" for key, value in named if key and value]


def _shown(event: StoredEvent) -> dict[str, float]:
    field, where, values = _SHOWN.get(event.kind, ("", "", {}))
    value = values.get(str(event.body.get(where)))
    return {} if value is None else {field: value}


def _number(value: Any) -> str:
    """Write a number or a truth value as a float; nothing for what is none, or is not finite."""
    if not isinstance(value, int | float):
        return ""
    try:
        number = float(value)
    except OverflowError:
        return ""
    return repr(number).removesuffix(".0") if math.isfinite(number) else ""
