"""The tables of the store, and how a connection to it is opened.

Readings are kept in blocks: the samples of one part over at most a minute, packed (blocks.py).
Times are ms of a boot; a boot's one offset makes wall-clock labels of them all.
"""

import sqlite3
from pathlib import Path

VERSION = 1

_PAGE_BYTES = 2048
"""Half of SQLite's default: a commit of the reference load fills one page or two, and each page
touched is written whole. Measured at that load: 15 MB a day; with 4096 bytes 19 MB, with a row
counter that is kept (AUTOINCREMENT) 26 MB. Numbers grow all the same: the newest row is never
deleted.
"""

_TABLES = """
CREATE TABLE boots (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,            -- the kernel's boot id
    offset INTEGER NOT NULL,              -- Unix time in ms = t + offset
    settled INTEGER NOT NULL DEFAULT 0    -- 1 once the clock was known to be right: final then
);
CREATE TABLE parts (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    model TEXT NOT NULL,
    quantities TEXT NOT NULL,             -- JSON list, in the order of a block's columns
    UNIQUE (name, model, quantities)
);
CREATE TABLE blocks (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL REFERENCES boots,
    part INTEGER NOT NULL REFERENCES parts,
    first INTEGER NOT NULL,               -- time of the first sample, ms of the boot
    last INTEGER NOT NULL,
    count INTEGER NOT NULL,               -- samples
    body BLOB NOT NULL
);
CREATE TABLE events (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL REFERENCES boots,
    t INTEGER NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    body TEXT NOT NULL                    -- JSON
);
CREATE TABLE state (key TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
"""


def store_path(folder: Path) -> Path:
    """Name the store's file in its folder."""
    return folder / "readings.sqlite"


def open_to_write(folder: Path) -> sqlite3.Connection:
    """Open the store, making it if need be: WAL, every commit synced; raises sqlite3.Error."""
    folder.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(
        store_path(folder), isolation_level=None, timeout=5, check_same_thread=False
    )
    connection.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    if connection.execute("PRAGMA user_version").fetchone()[0] == 0:
        connection.executescript(f"BEGIN;{_TABLES}PRAGMA user_version = {VERSION};COMMIT;")
    return connection


def open_to_read(folder: Path) -> sqlite3.Connection:
    """Open the store for reading only; raises sqlite3.OperationalError if there is none yet."""
    uri = f"{store_path(folder).absolute().as_uri()}?mode=ro"
    connection = sqlite3.connect(
        uri, uri=True, isolation_level=None, timeout=5, check_same_thread=False
    )
    try:
        if connection.execute("PRAGMA user_version").fetchone()[0] == 0:
            raise sqlite3.OperationalError("the store is being made")
    except sqlite3.Error:
        connection.close()
        raise
    return connection
