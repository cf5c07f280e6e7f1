"""The courier's own small file, `courier.sqlite`: what was pushed, what was told, what was refused.

Losing the last moments of it in a power cut is harmless: lines are pushed again, and events are
taken from the store again. So its commits do not wait for the disk, and its pages are small.
"""

import json
import logging
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ventwright.storage.schema import connect_to_read, lenient, restrict

VERSION = 4
MOST_REFUSED = 10_000
"""Refused records kept with their reason; older ones stay in the counts only."""

log = logging.getLogger(__name__)

_TABLES = """
CREATE TABLE state (key TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE progress (
    store TEXT PRIMARY KEY,               -- its identity
    block INTEGER NOT NULL DEFAULT 0,     -- the last block done with
    event INTEGER NOT NULL DEFAULT 0,     -- the last event taken
    pushed INTEGER NOT NULL DEFAULT 0,    -- samples, here and below
    empty INTEGER NOT NULL DEFAULT 0,     -- without any value
    refused INTEGER NOT NULL DEFAULT 0,   -- by the database
    dropped INTEGER NOT NULL DEFAULT 0,   -- set aside by the courier
    blocks_gone INTEGER NOT NULL DEFAULT 0, -- blocks pruned before they were pushed
    gone INTEGER NOT NULL DEFAULT 0       -- samples in them
) WITHOUT ROWID;
CREATE TABLE labels (boot TEXT PRIMARY KEY, offset INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE refused (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    store TEXT NOT NULL,
    block INTEGER NOT NULL,
    samples INTEGER NOT NULL,
    line TEXT NOT NULL,                   -- empty where no line was made
    reason TEXT NOT NULL,
    event INTEGER NOT NULL DEFAULT 0      -- in place of a block
);
CREATE TABLE counts (what TEXT PRIMARY KEY, number INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE messages (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    key TEXT NOT NULL, boot TEXT NOT NULL, t INTEGER NOT NULL, label INTEGER,
    stage TEXT NOT NULL, priority TEXT NOT NULL,
    title TEXT NOT NULL, body TEXT NOT NULL, unheard TEXT NOT NULL,
    concern TEXT NOT NULL DEFAULT '',     -- the priority of what it is about
    held INTEGER NOT NULL DEFAULT 0       -- put here in quiet hours
);
CREATE TABLE deliveries (
    message INTEGER NOT NULL REFERENCES messages,
    service TEXT NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0,
    outcome TEXT,                         -- NULL: waiting
    reason TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (message, service)
) WITHOUT ROWID;
CREATE INDEX waiting ON deliveries (service, message) WHERE outcome IS NULL;
"""


_SECOND = """
ALTER TABLE messages ADD COLUMN concern TEXT NOT NULL DEFAULT '';
ALTER TABLE messages ADD COLUMN held INTEGER NOT NULL DEFAULT 0;
"""
_THIRD = """
ALTER TABLE progress ADD COLUMN gone INTEGER NOT NULL DEFAULT 0;
"""

_EVENTS = """
CREATE TABLE pushed_events (
    store TEXT PRIMARY KEY,               -- its identity
    mark INTEGER NOT NULL DEFAULT 0,      -- the last event done with
    pushed INTEGER NOT NULL DEFAULT 0,    -- events, here and below
    refused INTEGER NOT NULL DEFAULT 0,   -- by the database
    dropped INTEGER NOT NULL DEFAULT 0,   -- set aside by the courier
    gone INTEGER NOT NULL DEFAULT 0       -- pruned before they were pushed
) WITHOUT ROWID;
"""
_FOURTH = f"""
ALTER TABLE refused ADD COLUMN event INTEGER NOT NULL DEFAULT 0;
{_EVENTS}"""

_CHANGES = {
    0: _TABLES + _EVENTS,
    1: _SECOND + _THIRD + _FOURTH,
    2: _THIRD + _FOURTH,
    3: _FOURTH,
}
"""What makes a file of each older version one of this."""


def file_path(folder: Path) -> Path:
    """Name the courier's file in the store's folder."""
    return folder / "courier.sqlite"


def open_to_read(folder: Path) -> sqlite3.Connection:
    """Open the file for reading only; raises sqlite3.Error, also where there is none."""
    return connect_to_read(file_path(folder))


def _connect(path: Path | str) -> sqlite3.Connection:
    db = lenient(sqlite3.connect(path, isolation_level=None, timeout=5, check_same_thread=False))
    try:
        db.execute("PRAGMA page_size = 1024")
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = NORMAL")
        db.execute("BEGIN IMMEDIATE")
        version = db.execute("PRAGMA user_version").fetchone()[0]
        for statement in _CHANGES.get(version, "").split(";\n"):
            db.execute(statement)
        if version in _CHANGES:
            db.execute(f"PRAGMA user_version = {VERSION}")
        db.execute("COMMIT")
    except sqlite3.Error:
        db.close()
        raise
    return db


class CourierFile:
    """The file, opened when first used; one object a thread, but for the one in memory."""

    def __init__(self, folder: Path | None) -> None:
        """Remember the folder; with None everything is kept in memory only."""
        self._folder = folder
        self._db: sqlite3.Connection | None = None
        self._lock = threading.Lock()

    @property
    def db(self) -> sqlite3.Connection:
        """The open connection; raises sqlite3.Error or OSError if it cannot be opened."""
        if self._db is None:
            if self._folder is not None:
                self._folder.mkdir(parents=True, exist_ok=True)
                restrict(file_path(self._folder))
            self._db = _connect(file_path(self._folder) if self._folder else ":memory:")
        return self._db

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Do all of it or nothing; raises sqlite3.Error."""
        with self._lock:
            db = self.db
            try:
                db.execute("BEGIN IMMEDIATE")
                yield db
                db.execute("COMMIT")
            except BaseException:
                self._undo(db)
                raise

    def _undo(self, db: sqlite3.Connection) -> None:
        """Leave no transaction open: it would lock out all others, and every later one of ours."""
        try:
            if db.in_transaction:
                db.execute("ROLLBACK")
        except sqlite3.Error:
            if self._folder:
                self.close()  # which undoes it, too

    def state(self, key: str) -> Any:
        """Read a piece of saved state, or None, also where it is spoilt; raises sqlite3.Error."""
        return state_in(self.db, key)

    def close(self) -> None:
        """Close the file; using it again opens it again."""
        db, self._db = self._db, None
        if db is not None:
            db.close()


def state_in(db: sqlite3.Connection, key: str) -> Any:
    """Read a piece of saved state, or None, also where it is spoilt; raises sqlite3.Error."""
    row = db.execute("SELECT body FROM state WHERE key = ?", (key,)).fetchone()
    try:
        return json.loads(row[0]) if row else None
    except (ValueError, TypeError) as error:
        log.warning("what was noted of %s cannot be read, and is left out: %s", key, error)
        return None


def keep_state(db: sqlite3.Connection, key: str, body: Any) -> None:
    """Save a piece of state in place of the former one; raises sqlite3.Error."""
    query = "INSERT INTO state VALUES (?, ?) ON CONFLICT DO UPDATE SET body = excluded.body"
    db.execute(query, (key, json.dumps(body)))


def count(db: sqlite3.Connection, what: str, number: int = 1) -> None:
    """Add to one of the counts; raises sqlite3.Error."""
    query = "INSERT INTO counts VALUES (?, ?) ON CONFLICT DO UPDATE SET number = number + ?"
    db.execute(query, (what, number, number))
