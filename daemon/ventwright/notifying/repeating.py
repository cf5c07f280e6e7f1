"""Tells an alarm again until it was acknowledged, is over, or was told often enough.

One that was acknowledged and gets worse is told once: there is nothing left to acknowledge. Nor
is one told again that was taken out of the configuration.
"""

import sqlite3
from typing import Any

from ventwright.alarms.states import State
from ventwright.courier.file import CourierFile, keep_state
from ventwright.notifying.ages import Ages
from ventwright.notifying.message import Message
from ventwright.notifying.post import Post
from ventwright.storage.reader import StoredEvent

MOST_REPEATS = 10
"""So often one alarm is told again, unless it gets worse."""

_KEPT_AS = "unacknowledged alarms"
_BEGINS = ("raised", "worse")
_ENDS = ("acknowledged", "cleared", "reset", "shelved", "out of service")


class Repeater:
    """What was told and not acknowledged yet; kept in the courier's file."""

    def __init__(self, file: CourierFile, post: Post, ages: Ages) -> None:
        """Start with what the file holds."""
        self._file, self._post, self._ages = file, post, ages
        self._known: dict[str, dict[str, Any]] | None = None

    def _standing(self) -> dict[str, dict[str, Any]]:
        if self._known is None:
            self._known = self._file.state(_KEPT_AS) or {}
        return dict(self._known)

    def _keep(self, db: sqlite3.Connection, standing: dict[str, dict[str, Any]]) -> None:
        keep_state(db, _KEPT_AS, standing)
        self._known = standing

    def forget(self) -> None:
        """Read from the file again: a transaction failed."""
        self._known = None

    def note(self, db: sqlite3.Connection, event: StoredEvent, message: Message | None) -> None:
        """Take in a change of an alarm, inside the caller's transaction."""
        change, standing = event.body.get("change"), self._standing()
        seen = event.body.get("state") == State.ACKNOWLEDGED
        if change in _BEGINS and message is not None and not seen:
            every = self._post.urgency(message.priority).repeat_every
            if every:
                standing[event.subject] = self._entry(message, every)
                self._keep(db, standing)
        elif change in _ENDS and event.subject in standing:
            del standing[event.subject]
            self._keep(db, standing)

    def _entry(self, message: Message, every: int) -> dict[str, Any]:
        return {
            "message": list(message),
            "every": every,
            "left": MOST_REPEATS,
            "boot": self._ages.boot,
            "due": self._ages.clock.now() + every,
        }

    def step(self) -> None:
        """Tell again what is due; raises sqlite3.Error."""
        known, now = self._standing(), self._ages.clock.now()
        standing = {name: entry for name, entry in known.items() if name in self._post.alarms}
        for name, entry in standing.items():
            if entry["boot"] != self._ages.boot:
                standing[name] = {**entry, "boot": self._ages.boot, "due": now + entry["every"]}
        due = [name for name, entry in standing.items() if entry["due"] <= now]
        if not due and standing == known:
            return
        try:
            with self._file.transaction() as db:
                for name in due:
                    self._again(db, standing, name)
                self._keep(db, standing)
        except BaseException:
            self.forget()
            raise

    def _again(self, db: sqlite3.Connection, standing: dict[str, Any], name: str) -> None:
        entry, now = standing[name], self._ages.clock.now()
        message = Message(*entry["message"])
        later = {**entry, "due": now + entry["every"]}
        standing[name] = later
        if self._post.waits(message.priority) or _undelivered(db, message.key):
            return
        self._post.put(db, _repeated(message, name), (self._ages.boot, now, self._ages.wall()))
        later["left"] -= 1
        if not later["left"]:
            del standing[name]


def _undelivered(db: sqlite3.Connection, key: str) -> bool:
    """Tell whether a message of this key still waits: telling it again would only pile up."""
    query = (
        "SELECT 1 FROM deliveries JOIN messages ON id = message"
        " WHERE outcome IS NULL AND key = ? LIMIT 1"
    )
    return db.execute(query, (key,)).fetchone() is not None


def _repeated(message: Message, name: str) -> Message:
    room, colon, what = message.title.partition(": ")
    title = f"{room}, again{colon}{what}" if colon else message.title
    advice = f"Nobody has acknowledged it yet: `ventwright acknowledge {name}` ends these repeats."
    body = f"{advice} When it was told first: {message.body}"
    return message._replace(stage="again", title=title, body=body, unheard="")
