"""Reads the store; never writes it. Every call is one short transaction."""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from ventwright.storage.blocks import Block, unpack
from ventwright.storage.condensing import HOUR_MS
from ventwright.storage.pruning import pruned
from ventwright.storage.schema import identity, open_to_read, quantities_in, unpack_state

_RECENT = 10_000
_PAGE = 500
_REDUCED_SINCE = 2
"""The version of a store that has hours and minutes."""


class Boot(NamedTuple):
    """A boot of the machine: Unix time in ms = t + offset; final once settled."""

    id: int
    name: str
    offset: int
    settled: bool


class StoredPart(NamedTuple):
    """A part as it was configured when its blocks were written."""

    name: str
    model: str
    quantities: tuple[str, ...]


class StoredBlock(NamedTuple):
    """A block of readings of one part."""

    id: int
    boot: int
    part: StoredPart
    first: int
    last: int
    samples: int
    body: bytes

    def open(self) -> Block:
        """Unpack the block; raises ValueError if it is damaged."""
        return unpack(self.body, self.first, self.samples, len(self.part.quantities))


class ReducedHour(NamedTuple):
    """The figures of one part over an hour, packed (condensing.py)."""

    start: int
    part: StoredPart
    body: bytes
    minutes: bytes | None
    """None where only the hour is kept."""


class StoredEvent(NamedTuple):
    """Something that happened, at `t` ms of its boot."""

    id: int
    boot: int
    t: int
    kind: str
    subject: str
    body: dict[str, Any]


class Spoilt(NamedTuple):
    """An event that cannot be read, and why: SQLite's own check does not see every flipped bit."""

    id: int
    why: str


class Page(NamedTuple):
    """Events in order, those among them that cannot be read, and up to which number they go."""

    events: list[StoredEvent]
    spoilt: list[Spoilt]
    last: int

    def before(self, number: int) -> "Page":
        """Keep what is numbered below `number`."""
        events = [one for one in self.events if one.id < number]
        spoilt = [one for one in self.spoilt if one.id < number]
        return Page(events, spoilt, number - 1)


_EVENT = "SELECT id, boot, t, kind, subject, body, boot IN (SELECT id FROM boots) FROM events"


def _event(row: tuple[Any, ...]) -> StoredEvent | Spoilt:
    number, boot, t, kind, subject, text, known = row
    try:
        body = json.loads(text)
    except (ValueError, TypeError) as error:
        return Spoilt(number, str(error))
    if not (known and isinstance(body, dict) and isinstance(t, int)):
        return Spoilt(number, "its boot, its time or its body is none")
    return StoredEvent(number, boot, t, kind, subject, body)


def _readable(rows: Iterable[tuple[Any, ...]]) -> Iterator[StoredEvent]:
    return (found for found in map(_event, rows) if isinstance(found, StoredEvent))


class Reader:
    """An open store."""

    def __init__(self, folder: Path, growing: bool = False) -> None:
        """Open the store in `folder`; raises sqlite3.OperationalError if there is none yet.

        `growing`: it is kept open, and is to show what is stored later.
        """
        self._db = open_to_read(folder, growing)
        self._parts: dict[int, StoredPart] = {}
        try:
            self._version = int(self._db.execute("PRAGMA user_version").fetchone()[0])
        except sqlite3.Error:
            self._db.close()
            raise

    def close(self) -> None:
        """Close the store."""
        self._db.close()

    def boots(self) -> dict[int, Boot]:
        """Map every boot's number to the boot, oldest first."""
        rows = self._db.execute("SELECT id, name, offset, settled FROM boots ORDER BY id")
        return {row[0]: Boot(row[0], row[1], row[2], bool(row[3])) for row in rows.fetchall()}

    def _part(self, number: int) -> StoredPart:
        if number not in self._parts:
            query = "SELECT name, model, quantities FROM parts WHERE id = ?"
            row = self._db.execute(query, (number,)).fetchone()
            name, model, quantities = row or ("", "", "[]")
            self._parts[number] = StoredPart(name, model, quantities_in(quantities))
        return self._parts[number]

    def parts(self) -> list[StoredPart]:
        """List every part that ever was, oldest first."""
        rows = self._db.execute("SELECT id FROM parts ORDER BY id").fetchall()
        return [self._part(row[0]) for row in rows]

    def blocks(self, after: int = 0, limit: int = 1000) -> list[StoredBlock]:
        """Read up to `limit` blocks with a number above `after`, in order."""
        rows = self._db.execute(
            "SELECT id, boot, part, first, last, count, body FROM blocks"
            " WHERE id > ? ORDER BY id LIMIT ?",
            (after, limit),
        ).fetchall()
        return [StoredBlock(r[0], r[1], self._part(r[2]), *r[3:]) for r in rows]

    def all_blocks(self) -> Iterator[StoredBlock]:
        """Read every block in order, holding a thousand at a time."""
        after = 0
        while found := self.blocks(after):
            yield from found
            after = found[-1].id

    def page(self, after: int = 0, limit: int = 1000) -> Page:
        """Read up to `limit` events with a number above `after`, and tell of the spoilt ones."""
        rows = self._db.execute(f"{_EVENT} WHERE id > ? ORDER BY id LIMIT ?", (after, limit))
        found = [_event(row) for row in rows.fetchall()]
        spoilt = [one for one in found if isinstance(one, Spoilt)]
        good = [one for one in found if isinstance(one, StoredEvent)]
        return Page(good, spoilt, found[-1].id if found else after)

    def events(self, after: int = 0, limit: int = 1000) -> list[StoredEvent]:
        """Read up to `limit` events with a number above `after`, in order; none: there are no more.

        Spoilt ones are passed over.
        """
        page = self.page(after, limit)
        while page.spoilt and not page.events:
            page = self.page(page.last, limit)
        return page.events

    def hours(self, part: str, boot: int, first: int, last: int) -> Iterator[ReducedHour]:
        """Read the hours of a part and boot that begin from `first` to `last` (ms), in order."""
        if self._version < _REDUCED_SINCE:
            return
        query = (
            "SELECT hours.id, start, part, hours.body, minutes.body FROM hours"
            " LEFT JOIN minutes ON minutes.id = hours.id"
            " WHERE boot = ? AND (start, hours.id) > (?, ?) AND start <= ?"
            " AND part IN (SELECT id FROM parts WHERE name = ?) ORDER BY start, hours.id LIMIT ?"
        )
        place = (first, 0)
        while rows := self._db.execute(query, (boot, *place, last, part, _PAGE)).fetchall():
            for _, start, number, *bodies in rows:
                yield ReducedHour(start, self._part(number), *bodies)
            place = (rows[-1][1], rows[-1][0])

    def reduced(self, boot: int) -> tuple[int | None, int]:
        """Tell up to when a boot is reduced to hours (ms of it), and up to which block of all."""
        if self._version < _REDUCED_SINCE:
            return None, 0
        query = (
            "SELECT max(start), (SELECT block FROM hours ORDER BY id DESC LIMIT 1)"
            " FROM hours WHERE boot = ?"
        )
        start, block = self._db.execute(query, (boot,)).fetchone()
        return None if start is None else start + HOUR_MS, block or 0

    @property
    def identity(self) -> str:
        """What tells this store from another, for its life; "" while nothing is in it."""
        return identity(self._db)

    def pruned(self) -> int:
        """Count the samples that were pruned in all the store's life."""
        return int(pruned(self._db)["samples"])

    def newest_event(self) -> int:
        """Give the number of the newest event, 0 if there is none."""
        row = self._db.execute("SELECT coalesce(max(id), 0) FROM events").fetchone()
        return int(row[0])

    def last_block(self) -> int:
        """Give the number of the newest block, 0 if there is none."""
        row = self._db.execute("SELECT coalesce(max(id), 0) FROM blocks").fetchone()
        return int(row[0])

    def latest(self, after: int) -> dict[int, int]:
        """Map boots to the time (ms) of their newest reading in blocks numbered above `after`."""
        query = "SELECT boot, max(last) FROM blocks WHERE id > ? GROUP BY boot"
        return dict(self._db.execute(query, (after,)).fetchall())

    def last_event(self, kind: str) -> StoredEvent | None:
        """Read the newest event of a kind that can be read, or None."""
        rows = self._db.execute(f"{_EVENT} WHERE kind = ? ORDER BY id DESC", (kind,))
        return next(_readable(rows), None)

    def events_of(self, kind: str) -> Iterator[StoredEvent]:
        """Read every event of a kind, in order; spoilt ones are passed over."""
        rows = self._db.execute(f"{_EVENT} WHERE kind = ? ORDER BY id", (kind,))
        return _readable(rows.fetchall())

    def newest(self, boot: int) -> int | None:
        """Tell the latest time of a recent boot that the store knows of (ms), or None.

        Only the newest rows are looked at: a year of blocks is not read for it.
        """
        row = self._db.execute(
            "SELECT max(t) FROM (SELECT max(last) AS t FROM blocks"
            " WHERE boot = :b AND id > (SELECT max(id) FROM blocks) - :n"
            " UNION ALL SELECT max(t) FROM events"
            " WHERE boot = :b AND id > (SELECT max(id) FROM events) - :n)",
            {"b": boot, "n": _RECENT},
        ).fetchone()
        found: int | None = row[0]
        return found

    def state(self, key: str) -> Any:
        """Read a piece of saved state, or None."""
        row = self._db.execute("SELECT body FROM state WHERE key = ?", (key,)).fetchone()
        return unpack_state(row[0]) if row else None


def is_store(folder: Path) -> bool:
    """Tell whether a readable store is in `folder`."""
    try:
        Reader(folder).close()
    except sqlite3.Error:
        return False
    return True
