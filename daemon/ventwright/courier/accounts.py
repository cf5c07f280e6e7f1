"""What became of everything, read from the files: for `ventwright status` and for checks."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from ventwright.courier.file import open_to_read, state_in
from ventwright.courier.troubles import KEPT_AS
from ventwright.storage import schema

_READINGS = ("pushed", "empty", "refused", "dropped", "gone", "blocks_gone")
_EVENTS = ("pushed", "refused", "dropped", "gone")
_MESSAGES = (
    "messages",
    "delivered",
    "told later",
    "given up",
    "failed attempts",
    "passed over",
    "spoilt",
)


def counts(folder: Path) -> dict[str, Any]:
    """Count samples and messages, with the latest refusals and their reasons.

    Of the samples, all that were ever stored = pushed + empty (no value in them) + refused (by the
    database) + dropped (by the courier, with the reason) + gone (too old for the store before they
    were pushed) + waiting; likewise of the events, none of which is empty. Of the deliveries
    (messages times services), all = delivered + told later (with a newer one) + given up + waiting.
    `spoilt`: events of which nobody is told, for they cannot be read.
    `troubles`: what fails just now, see troubles.py.
    Where a file is missing or unreadable, its counts are left out.
    """
    store = _store(folder)
    if store is None:
        return _ours(folder, "") | {"waiting": 0}
    ours = _ours(folder, store)
    ours["events_waiting"] = _waiting(folder, "1", "events", ours.pop("event", 0))
    return ours | {"waiting": _waiting(folder, "count", "blocks", ours.get("block", 0))}


def _store(folder: Path) -> str | None:
    try:
        with closing(schema.open_to_read(folder)) as db:
            return schema.identity(db) or None
    except sqlite3.Error:
        return None


def _waiting(folder: Path, what: str, table: str, mark: int) -> int:
    """Add up `what` of the rows behind a mark."""
    with closing(schema.open_to_read(folder)) as db:
        query = f"SELECT coalesce(sum({what}), 0) FROM {table} WHERE id > ?"  # noqa: S608
        number: int = db.execute(query, (mark,)).fetchone()[0]
    return number


def _ours(folder: Path, store: str) -> dict[str, Any]:
    try:
        with closing(open_to_read(folder)) as db:
            told = {"latest_refused": _refused(db, store), "troubles": _troubles(db)}
            return {**_progress(db, store), **_pushed_events(db, store), **_told(db), **told}
    except sqlite3.Error:
        return {}


def _progress(db: sqlite3.Connection, store: str) -> dict[str, int]:
    query = f"SELECT block, {', '.join(_READINGS)} FROM progress WHERE store = ?"  # noqa: S608
    row = db.execute(query, (store,)).fetchone()
    names = ("block", *_READINGS)
    return dict(zip(names, row or (0,) * len(names), strict=True))


def _pushed_events(db: sqlite3.Connection, store: str) -> dict[str, int]:
    query = f"SELECT mark, {', '.join(_EVENTS)} FROM pushed_events WHERE store = ?"  # noqa: S608
    row = db.execute(query, (store,)).fetchone()
    names = ("event", *(f"events_{name}" for name in _EVENTS))
    return dict(zip(names, row or (0,) * len(names), strict=True))


def _told(db: sqlite3.Connection) -> dict[str, int]:
    known = dict(db.execute("SELECT what, number FROM counts").fetchall())
    query = "SELECT count(*) FROM deliveries WHERE outcome IS NULL"
    waiting = db.execute(query).fetchone()[0]
    named = {what.replace(" ", "_"): known.get(what, 0) for what in _MESSAGES}
    return {**named, "messages_waiting": waiting}


def _troubles(db: sqlite3.Connection) -> dict[str, Any]:
    found: dict[str, Any] = state_in(db, KEPT_AS) or {}
    return found


def _refused(db: sqlite3.Connection, store: str) -> list[dict[str, Any]]:
    query = (
        "SELECT block, event, samples, line, reason FROM refused WHERE store = ?"
        " ORDER BY id DESC LIMIT 5"
    )
    names = ("block", "event", "samples", "line", "reason")
    return [dict(zip(names, row, strict=True)) for row in db.execute(query, (store,)).fetchall()]
