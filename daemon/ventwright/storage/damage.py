"""Finds out whether a file of SQLite is damaged, and sets a damaged one aside under a dated name.

Knows files and SQLite's own check; knows no table. Nothing is deleted: a damaged file may still
give most of its readings to a repair by hand.
"""

import sqlite3
import time
from contextlib import closing
from pathlib import Path

from ventwright.storage.schema import beside, connect_to_read

_STEPS = 1000
"""Steps of SQLite's machine between two looks at the time: well below a ms."""

_DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
_SIDES = ("", "-wal", "-shm")
_MARK = ".damaged-"


def is_damage(error: BaseException) -> bool:
    """Tell whether an error of SQLite means that the file itself is damaged."""
    code = getattr(error, "sqlite_errorcode", None)
    return code is not None and code & 0xFF in _DAMAGE


def examine(file: Path, within_s: float | None = None) -> str:
    """Look for damage; returns what was found, or nothing.

    After `within_s` s the rest is left unexamined. What cannot be looked at counts as whole: a
    missing file, or one on a disk that does not answer.
    """
    if not file.exists():
        return ""
    try:  # as one that grows: a writer at work beside it must never look like damage
        with closing(connect_to_read(file, growing=True, timeout=1)) as db:
            _limit(db, within_s)
            return verdict(db)
    except sqlite3.Error as error:
        return str(error) if is_damage(error) else ""


def verdict(db: sqlite3.Connection) -> str:
    """Have SQLite look for damage; returns what was found, or nothing. Raises sqlite3.Error."""
    found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
    return "" if found == "ok" else " ".join(str(found).split())


def _limit(db: sqlite3.Connection, within_s: float | None) -> None:
    if within_s is not None:
        end = time.monotonic() + within_s
        db.set_progress_handler(lambda: time.monotonic() >= end, _STEPS)


def set_aside(file: Path, day: str) -> Path:
    """Rename `readings.sqlite` to `readings.damaged-DAY.sqlite`, or -2, -3 and so on.

    Nobody may have it open for writing. Raises OSError.
    """
    start, end = f"{file.stem}{_MARK}{day}", file.suffix
    names = (f"{start}{(n and f'-{n}') or ''}{end}" for n in (0, *range(2, 10**6)))
    new = next(path for name in names if not (path := file.with_name(name)).exists())
    for side in _SIDES[::-1]:  # the file itself last: until then it is still there
        source = beside(file, side)
        if source.exists():
            source.rename(beside(new, side))
    return new


def were_set_aside(folder: Path) -> list[Path]:
    """List the damaged files that are still there, the oldest first."""
    found = folder.glob(f"*{_MARK}*.sqlite")
    return sorted(found, key=lambda path: (len(path.name), path.name))
