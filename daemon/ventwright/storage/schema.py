"""The tables of the store, and how a connection to it is opened.

Readings are kept in blocks: the samples of one part over at most a minute, packed (blocks.py).
Times are ms of a boot; a boot's one offset makes wall-clock labels of them all.
"""

import json
import os
import sqlite3
import stat
import zlib
from pathlib import Path
from typing import Any

VERSION = 2

RIGHTS = 0o640

_PAGE_BYTES = 2048
"""Half of SQLite's default: a commit of the reference load fills one page or two, and each page
touched is written whole. Measured at that load: 15 MB a day; with 4096 bytes 19 MB, with a row
counter that is kept (AUTOINCREMENT) 26 MB. Numbers grow all the same: the newest row is never
deleted.
"""

LOG_PAGES = 100
"""How far the write-ahead log grows before it is written over from its begin: a commit that makes a
file longer has the file system write more in its journal than the commit itself.
"""

_FIRST = """
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
CREATE TABLE state (
    key TEXT PRIMARY KEY,
    body TEXT NOT NULL                    -- JSON, or as a blob `pack_state` of it
) WITHOUT ROWID;
"""


_SECOND = """
CREATE TABLE hours (
    id INTEGER PRIMARY KEY,
    number INTEGER NOT NULL,              -- counts the hours in which anything was recorded
    boot INTEGER NOT NULL REFERENCES boots,
    start INTEGER NOT NULL,               -- ms of the boot; a whole hour of Unix time
    part INTEGER NOT NULL REFERENCES parts,
    block INTEGER NOT NULL,               -- this and all blocks before it end within the hour
    body BLOB NOT NULL                    -- one figure a quantity (condensing.py)
);
CREATE INDEX hours_when ON hours (boot, start);
CREATE TABLE minutes (
    id INTEGER PRIMARY KEY,               -- as in hours
    number INTEGER NOT NULL,
    body BLOB NOT NULL                    -- sixty figures a quantity
);
"""
_NAMED_AT_RANDOM = """
INSERT INTO state VALUES ('store', '"' || lower(hex(randomblob(8))) || '"');
"""
_NAMED_BY_ITS_FIRST_BOOT = """
INSERT INTO state SELECT 'store', '"' || name || '"' FROM boots ORDER BY id LIMIT 1;
"""

_CHANGES = {
    0: _FIRST + _SECOND + _NAMED_AT_RANDOM,
    1: _SECOND + _NAMED_BY_ITS_FIRST_BOOT,
}
"""What makes a store of each older version one of this."""


class TooNewError(sqlite3.DatabaseError):
    """The store was written by a newer version of this program; the text says what to do."""


def store_path(folder: Path) -> Path:
    """Name the store's file in its folder."""
    return folder / "readings.sqlite"


def beside(path: Path, side: str) -> Path:
    """Name a file that SQLite keeps beside another, `-wal` or `-shm`, or with "" that one."""
    return path.with_name(path.name + side)


def connect_to_read(path: Path, growing: bool = False, timeout: float = 5) -> sqlite3.Connection:
    """Connect to a file for reading only; raises sqlite3.Error where there is none.

    A file at rest is read without any file being made beside it: one that belongs to whoever reads
    would keep its writer out afterwards. `growing`: what is written later is to be seen, too.
    """
    rests = not growing and not beside(path, "-wal").exists()
    uri = f"{path.absolute().as_uri()}?mode=ro{'&immutable=1' * rests}"
    return lenient(
        sqlite3.connect(
            uri, uri=True, isolation_level=None, timeout=timeout, check_same_thread=False
        )
    )


def lenient(connection: sqlite3.Connection) -> sqlite3.Connection:
    """Read texts with a spoilt letter, which would end the reading of all that stands beside."""
    connection.text_factory = lambda text: text.decode(errors="replace")
    return connection


def _clear(path: Path) -> None:
    """Remove what a reader of other rights has left beside a file and we could not write."""
    for side in (beside(path, "-wal"), beside(path, "-shm")):
        holds = side.name.endswith("-wal") and side.exists() and side.stat().st_size
        if side.exists() and not holds and not os.access(side, os.W_OK):
            side.unlink()


def open_to_write(folder: Path) -> sqlite3.Connection:
    """Open the store, making it or bringing it up to date if need be; every commit is synced.

    Raises sqlite3.Error; TooNewError, having changed nothing, if it is of a newer version.
    """
    folder.mkdir(parents=True, exist_ok=True)
    restrict(store_path(folder))
    _clear(store_path(folder))
    connection = lenient(
        sqlite3.connect(
            store_path(folder), isolation_level=None, timeout=5, check_same_thread=False
        )
    )
    try:
        connection.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
        change = _CHANGES.get(_version(connection, folder))
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA secure_delete = OFF")  # Debian's zeroes whatever is deleted
        connection.execute(f"PRAGMA wal_autocheckpoint = {LOG_PAGES}")
        if change:
            change = f"BEGIN IMMEDIATE;{change}PRAGMA user_version = {VERSION};COMMIT;"
            connection.executescript(change)
    except BaseException:
        connection.close()
        raise
    return connection


def restrict(path: Path) -> None:
    """Let only the owner write the store and only its group read it, from its first byte on."""
    if not path.exists():
        path.touch(mode=RIGHTS)
    if stat.S_IMODE(path.stat().st_mode) & ~RIGHTS:
        path.chmod(RIGHTS)


def _version(connection: sqlite3.Connection, folder: Path) -> int:
    """Read which version a store is of, 0 for an empty file; raises TooNewError."""
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise TooNewError(
            f"{store_path(folder)} was written by a newer version of this program (schema "
            f"{version}, this one knows up to {VERSION}); install the newer version, or move the "
            f"file away"
        )
    return version


def identity(connection: sqlite3.Connection) -> str:
    """Tell one store from another, for its life; "" while nothing is in it."""
    query = (
        "SELECT trim(body, '\"') FROM state WHERE key = 'store'"
        " UNION ALL SELECT * FROM (SELECT name FROM boots ORDER BY id LIMIT 1)"
    )
    row = connection.execute(query).fetchone()
    return str(row[0]) if row else ""


def in_body(key: str) -> str:
    """Write in SQL what an event's body has under a key: null where the body is spoilt."""
    return f"iif(json_valid(body), json_extract(body, '$.{key}'), NULL)"


def quantities_in(text: Any) -> tuple[str, ...]:
    """Read a part's quantities as its row has them; none where that is spoilt."""
    try:
        return tuple(str(one) for one in json.loads(text))
    except (ValueError, TypeError):
        return ()


def pack_state(body: Any) -> bytes:
    """Pack a piece of state, anything that JSON can hold, as it stands in its table.

    It is written with every event, and packed takes a quarter of the pages.
    """
    return zlib.compress(json.dumps(body, ensure_ascii=False).encode())


def unpack_state(body: str | bytes) -> Any:
    """Unpack what `pack_state` packed, or plain JSON; raises ValueError if it is damaged."""
    try:
        return json.loads(body if isinstance(body, str) else zlib.decompress(body))
    except (zlib.error, TypeError) as error:
        raise ValueError(f"a piece of state is damaged: {error}") from error


def open_to_read(folder: Path, growing: bool = False) -> sqlite3.Connection:
    """Open the store for reading only; raises sqlite3.OperationalError if there is none yet.

    `growing`: see `connect_to_read`.
    """
    if not store_path(folder).exists():
        raise sqlite3.OperationalError("there is none yet; the daemon makes it when it first runs")
    connection = connect_to_read(store_path(folder), growing)
    try:
        if _version(connection, folder) == 0:
            raise sqlite3.OperationalError("the store is being made")
    except sqlite3.Error:
        connection.close()
        raise
    return connection
