"""Finds out whether the courier's file can be used, and sets one aside that cannot.

Without it nobody would be told anything, and nothing pushed: a new one is better than none. What
it knew is made up for: what happened of late is told once more, and readings are pushed once more.
"""

import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from ventwright.courier.file import VERSION, file_path, open_to_read
from ventwright.storage.damage import examine, set_aside


class MustEndError(Exception):
    """The courier has to end, to be started anew; the text says why."""


class Aside(NamedTuple):
    """A file that was set aside: its new name, and why."""

    file: Path
    why: str


def unusable(folder: Path) -> str:
    """Say why the courier's file cannot be used, or nothing; what cannot be read now is whole."""
    if why := examine(file_path(folder)):
        return why
    try:
        with closing(open_to_read(folder)) as db:
            newer = db.execute("PRAGMA user_version").fetchone()[0] > VERSION
    except sqlite3.Error:
        return ""
    return "it was written by a newer version of this program" if newer else ""


def mend(folder: Path, now: int) -> Aside | None:
    """Set the courier's file aside if it cannot be used; `now`, Unix ms, names the day.

    Nobody may have it open. Raises OSError where the disk refuses to.
    """
    why = unusable(folder)
    if not why:
        return None
    day = datetime.fromtimestamp(now / 1000, UTC).date().isoformat()
    return Aside(set_aside(file_path(folder), day), why)
