"""Deletes what is older than it is to be kept, in small steps, each in a commit of its caller's.

Knows the tables; knows neither a clock nor a disk. Age is counted in hours in which anything was
recorded, so a wrong clock deletes nothing. Readings go once they are reduced, never before; events
go only as far as the courier has said that they were told and, where there is a database, pushed;
one that was told and is twice as old as it is to be kept goes without, for a database may be down
for ever: the courier counts it. Freed pages are used again: the file
keeps its size, and is not written anew to make it smaller, which would cost the card a copy of it.
"""

import json
import sqlite3
from typing import Any, NamedTuple

from ventwright.storage.condensing import HOUR_MS

_EVENTS_AT_ONCE = 200
_ROWS_AT_ONCE = 200


class Limits(NamedTuple):
    """For how many recorded hours things are kept, each at least one."""

    readings: int
    minutes: int
    hours: int
    events: int


LEAST = Limits(readings=48, minutes=90 * 24, hours=20 * 365 * 24, events=30 * 24)
"""What is kept even where the room is too small: windows after a restart need the last day."""


def prune(db: sqlite3.Connection, limits: Limits, told: int, pushed: int) -> bool:
    """Delete a little of what is too old; False if nothing is. Raises sqlite3.Error.

    `told`, `pushed`: up to which number events were, by whoever does so.
    """
    newest = db.execute("SELECT number FROM hours ORDER BY id DESC LIMIT 1").fetchone()
    if newest is None:
        return False
    done = _readings(db, newest[0] - limits.readings)
    done += _summaries(db, "minutes", newest[0] - limits.minutes)
    done += _summaries(db, "hours", newest[0] - limits.hours)
    done += _events(db, newest[0] - _within(limits, limits.events), min(told, pushed))
    done += _events(db, newest[0] - _within(limits, 2 * limits.events), told)
    return done > 0


def _readings(db: sqlite3.Connection, until: int) -> int:
    """Delete the readings of the oldest hour if its number is at most `until`."""
    row = db.execute(
        "SELECT number, block FROM hours JOIN (SELECT id, boot AS b, first FROM blocks ORDER BY id"
        " LIMIT 1) AS oldest ON boot = b AND start > first - ? AND block >= oldest.id"
        " ORDER BY start LIMIT 1",
        (HOUR_MS,),
    ).fetchone()
    if row is None or row[0] > until:
        return 0
    query = "SELECT coalesce(sum(count), 0) FROM blocks WHERE id <= ?"
    (samples,) = db.execute(query, (row[1],)).fetchone()
    deleted = db.execute("DELETE FROM blocks WHERE id <= ?", (row[1],)).rowcount
    _note(db, row[1], samples)
    return deleted


def _note(db: sqlite3.Connection, block: int, samples: int) -> None:
    """Keep count of what was pruned, for whoever has not read it yet."""
    known = pruned(db)
    body = json.dumps({"block": block, "samples": known["samples"] + samples})
    query = "INSERT INTO state VALUES (?, ?) ON CONFLICT DO UPDATE SET body = excluded.body"
    db.execute(query, ("pruned", body))


def pruned(db: sqlite3.Connection) -> dict[str, Any]:
    """Tell up to which block everything was pruned, and how many samples that was in all."""
    row = db.execute("SELECT body FROM state WHERE key = 'pruned'").fetchone()
    try:
        found: dict[str, Any] = json.loads(row[0])
        return {"block": int(found["block"]), "samples": int(found["samples"])}
    except (ValueError, TypeError, KeyError):  # there is none, or it is spoilt
        return {"block": 0, "samples": 0}


def _summaries(db: sqlite3.Connection, table: str, until: int) -> int:
    query = (
        f"DELETE FROM {table} WHERE id IN (SELECT id FROM (SELECT id, number FROM {table}"  # noqa: S608
        " ORDER BY id LIMIT ?) WHERE number <= ?)"
    )
    return db.execute(query, (_ROWS_AT_ONCE, until)).rowcount


def _within(limits: Limits, age: int) -> int:
    """Bound an age of events by that of hours, by which it is counted."""
    return min(age, limits.hours - 1)


def _events(db: sqlite3.Connection, until: int, done: int) -> int:
    """Delete the oldest events up to `done`; the newest of all stays, whose number counts on."""
    rows = db.execute(
        "SELECT id, boot, t FROM events WHERE id <= ? AND id < (SELECT max(id) FROM events)"
        " ORDER BY id LIMIT ?",
        (done, _EVENTS_AT_ONCE),
    ).fetchall()
    old = 0
    for number, boot, t in rows:
        if not _is_old(db, boot, t, until):
            break
        old = number
    return db.execute("DELETE FROM events WHERE id <= ?", (old,)).rowcount if old else 0


def _is_old(db: sqlite3.Connection, boot: int, t: int, until: int) -> bool:
    query = "SELECT number FROM hours WHERE (boot, start) > (?, ?) ORDER BY boot, start LIMIT 1"
    row = db.execute(query, (boot, t - HOUR_MS)).fetchone()
    return row is not None and row[0] <= until
