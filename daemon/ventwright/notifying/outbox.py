"""Messages that wait for each service, in the courier's file; what became of each is kept.

Of several waiting messages about one thing only the newest state is sent to a service, and says
how many changes came before; an end whose beginning was not heard tells both.
"""

import sqlite3
from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import NamedTuple

from ventwright.courier.file import CourierFile, count
from ventwright.notifying.message import Message
from ventwright.notifying.words import fitted

MOST_WAITING = 2000
"""Messages that wait for one service; beyond it the oldest are given up."""

MOST_KEPT = 1000
"""Messages kept after they are done with."""

Moment = tuple[str, int, int | None]
"""Boot, ms in it, and Unix ms if known."""

_RANKS = {"high": 0, "medium": 1, "low": 2}


class Waiting(NamedTuple):
    """A message that one service has not got yet."""

    id: int
    key: str
    boot: str
    t: int
    label: int | None
    stage: str
    priority: str
    title: str
    body: str
    unheard: str
    concern: str = ""
    """The priority of what it is about: an end has that of its beginning."""
    held: bool = False
    """Whether it was put here in quiet hours that hold it back."""


class Parcel(NamedTuple):
    """What is sent to one service at once: the newest state of one thing."""

    newest: Waiting
    others: tuple[int, ...]
    title: str
    body: str
    dated: bool = False
    """Whether the body says itself when things happened."""


def summary(groups: list[list[Waiting]]) -> Parcel:
    """Make one parcel of several things that quiet hours held back."""
    parcels = sorted((pack(group) for group in groups), key=lambda parcel: parcel.newest.id)
    newest = parcels[-1].newest
    urgent = min((parcel.newest.priority for parcel in parcels), key=lambda p: _RANKS.get(p, 1))
    others = [row.id for group in groups for row in group if row.id != newest.id]
    room, colon, _ = newest.title.partition(": ")
    title = f"{len(parcels)} messages from the quiet hours"
    lines = [f"{_time(parcel.newest)}{_bare(parcel.title)}" for parcel in parcels]
    return Parcel(
        newest._replace(priority=urgent),
        tuple(others),
        fitted(f"{room}{colon}{title}" if colon else title),
        "\n".join(lines),
        dated=True,
    )


def _time(row: Waiting) -> str:
    return "" if row.label is None else f"{datetime.fromtimestamp(row.label / 1000):%H:%M} "


def _bare(title: str) -> str:
    return title.partition(": ")[2] or title


def pack(rows: list[Waiting]) -> Parcel:
    """Make one parcel of all that waits about one thing, oldest first."""
    *earlier, newest = rows
    title, told = newest.title, 0
    begins = [i for i, row in enumerate(earlier) if row.stage == "begin"]
    if newest.stage == "end" and begins:
        title, told = newest.unheard or title, len(earlier) - begins[-1]
    untold = len(earlier) - told
    plural = "s" if untold > 1 else ""
    note = f" (and {untold} earlier change{plural} meanwhile)" if untold else ""
    return Parcel(newest, tuple(row.id for row in earlier), title, newest.body + note)


def _never(_priority: str) -> bool:
    return False


def concern_of(db: sqlite3.Connection, message: Message) -> str:
    """Tell the priority of what a message is about: an end has that of the latest beginning."""
    if message.stage != "end":
        return message.priority
    query = (
        "SELECT concern FROM messages WHERE key = ? AND stage = 'begin' ORDER BY id DESC LIMIT 1"
    )
    row = db.execute(query, (message.key,)).fetchone()
    return str(row[0]) if row and row[0] else message.priority


def put(
    db: sqlite3.Connection,
    message: Message,
    moment: Moment,
    services: Sequence[str],
    concern: str = "",
    held: bool = False,
) -> None:
    """Add a message of a moment inside the caller's transaction; `concern`, `held`: see Waiting."""
    cursor = db.execute(
        "INSERT INTO messages (boot, t, label, key, stage, priority, title, body, unheard,"
        " concern, held) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            *moment,
            *message._replace(title=fitted(message.title), unheard=fitted(message.unheard)),
            concern or message.priority,
            held,
        ),
    )
    number = cursor.lastrowid
    db.executemany(
        "INSERT INTO deliveries (message, service) VALUES (?, ?)",
        [(number, service) for service in services],
    )
    count(db, "messages")
    for service in services:
        _shed(db, service)


def _shed(db: sqlite3.Connection, service: str) -> None:
    query = (
        "SELECT message FROM deliveries WHERE service = ? AND outcome IS NULL"
        " ORDER BY message DESC LIMIT -1 OFFSET ?"
    )
    for (number,) in db.execute(query, (service, MOST_WAITING)).fetchall():
        _finish(db, service, number, "given up", "too many were waiting")


def _finish(
    db: sqlite3.Connection, service: str, number: int, outcome: str, reason: str = ""
) -> None:
    done = db.execute(
        "UPDATE deliveries SET outcome = ?, reason = ?, attempts = attempts + ?"
        " WHERE message = ? AND service = ? AND outcome IS NULL",
        (outcome, reason, outcome == "delivered", number, service),
    )
    count(db, outcome, done.rowcount)


class Outbox:
    """The messages of one courier's file."""

    def __init__(self, file: CourierFile) -> None:
        """Keep them in `file`."""
        self._file = file

    def add(self, message: Message, moment: Moment, services: list[str]) -> None:
        """Add a message in a transaction of its own; raises sqlite3.Error."""
        with self._file.transaction() as db:
            put(db, message, moment, services)

    def parcels(self, service: str, waits: Callable[[str], bool] = _never) -> list[Parcel]:
        """List what a service may be sent, urgent and old first; raises sqlite3.Error.

        `waits` tells of a priority whether quiet hours hold it back; what they held back is one
        parcel when they are over.
        """
        rows = self._file.db.execute(
            "SELECT id, key, boot, t, label, stage, priority, title, body, unheard, concern, held"
            " FROM deliveries JOIN messages ON id = message"
            " WHERE service = ? AND outcome IS NULL ORDER BY id",
            (service,),
        ).fetchall()
        by_key: dict[str, list[Waiting]] = defaultdict(list)
        for row in rows:
            by_key[row[1]].append(Waiting(*row))
        groups = [rows for rows in by_key.values() if not waits(rows[-1].concern)]
        held = [rows for rows in groups if rows[-1].held]
        together = held if len(held) > 1 else []
        made = [pack(rows) for rows in groups if rows not in together]
        made += [summary(together)] if together else []
        return sorted(made, key=lambda p: (_RANKS.get(p.newest.priority, 1), p.newest.id))

    def delivered(self, service: str, parcel: Parcel) -> None:
        """Record that a service has taken a parcel; raises sqlite3.Error."""
        with self._file.transaction() as db:
            _finish(db, service, parcel.newest.id, "delivered")
            for number in parcel.others:
                _finish(db, service, number, "told later")
            self._prune(db)

    def failed(self, service: str, parcel: Parcel, reason: str) -> None:
        """Record that a service did not take a parcel, and why; raises sqlite3.Error."""
        with self._file.transaction() as db:
            db.execute(
                "UPDATE deliveries SET attempts = attempts + 1, reason = ?"
                " WHERE message = ? AND service = ?",
                (reason, parcel.newest.id, service),
            )
            count(db, "failed attempts")

    def give_up(self, too_old: Callable[[str, int, int | None], bool]) -> None:
        """Give up what is too old, told by (boot, ms, Unix ms), and forget what is done with.

        Raises sqlite3.Error.
        """
        waiting = self._file.db.execute(
            "SELECT DISTINCT message, service, boot, t, label FROM deliveries"
            " JOIN messages ON id = message WHERE outcome IS NULL"
        ).fetchall()
        old = [row for row in waiting if too_old(*row[2:])]
        if old or self._done_with(self._file.db):
            with self._file.transaction() as db:
                for number, service, *_ in old:
                    _finish(db, service, number, "given up", "too old to matter")
                self._prune(db)

    @staticmethod
    def _done_with(db: sqlite3.Connection) -> list[tuple[int]]:
        query = (
            "SELECT id FROM messages WHERE id <= (SELECT max(id) FROM messages) - ? AND NOT EXISTS"
            " (SELECT 1 FROM deliveries WHERE message = id AND outcome IS NULL)"
        )
        return db.execute(query, (MOST_KEPT,)).fetchall()

    def _prune(self, db: sqlite3.Connection) -> None:
        for row in self._done_with(db):
            db.execute("DELETE FROM deliveries WHERE message = ?", row)
            db.execute("DELETE FROM messages WHERE id = ?", row)
