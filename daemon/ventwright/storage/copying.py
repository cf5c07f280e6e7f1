"""Copies the store while it is written to; the copy is whole, as of one moment. Knows no rule."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from ventwright.storage.damage import examine, verdict
from ventwright.storage.schema import RIGHTS, open_to_read, store_path


def copy_store(folder: Path, to: Path) -> int:
    """Copy the store of `folder` into the new folder `to`; returns the copy's size, bytes.

    The keeper goes on storing meanwhile; what it stores after the beginning is not in the copy.
    Raises FileExistsError if there is a store, sqlite3.Error (also where the store is damaged),
    OSError, or ValueError if the copy turns out to be damaged.
    """
    to.mkdir(parents=True, exist_ok=True)
    target = store_path(to)
    if target.exists():
        raise FileExistsError(f"there is a store in {to} already; choose another folder")
    half = target.with_name(f"{target.name}.half")
    half.unlink(missing_ok=True)
    try:
        _fill(half, folder)
    except (sqlite3.Error, OSError):
        half.unlink(missing_ok=True)
        raise
    half.rename(target)
    _sync(to)
    if found := examine(target):
        raise ValueError(f"the copy {target} is damaged: {found}")
    return target.stat().st_size


def _fill(half: Path, folder: Path) -> None:
    """Write the copy, which only its owner and its group can read from its first byte on."""
    with closing(open_to_read(folder)) as db:
        half.touch(mode=RIGHTS)
        half.chmod(RIGHTS)
        try:
            db.execute("VACUUM INTO ?", (str(half),))
        except sqlite3.Error as error:
            found = verdict(db)  # SQLite's own words may blame the copy
            raise sqlite3.DatabaseError(f"it is damaged: {found}" if found else error) from None


def _sync(folder: Path) -> None:
    """Have the files of a folder and their names reach the disk."""
    for path in (store_path(folder), folder):
        number = os.open(path, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)
