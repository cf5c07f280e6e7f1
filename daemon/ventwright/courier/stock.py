"""The keeper's store as the courier sees it: it may be missing, and may be replaced by another."""

import sqlite3
from pathlib import Path

from ventwright.storage.reader import Boot, Reader
from ventwright.storage.schema import open_to_read, store_path


class Stock:
    """A way to the store that opens it when it is there; one object a thread."""

    def __init__(self, folder: Path) -> None:
        """Remember the folder of the store."""
        self._folder = folder
        self._reader: Reader | None = None
        self._file: tuple[int, int] | None = None
        self.identity = ""
        """Tells one store from another."""

    def reader(self) -> Reader | None:
        """Return the open store, or None while there is none with anything in it."""
        try:
            found = store_path(self._folder).stat()
            if self._file != (found.st_dev, found.st_ino):
                self.close()
                self._open((found.st_dev, found.st_ino))
        except (OSError, sqlite3.Error):
            self.close()
        return self._reader

    def _open(self, file: tuple[int, int]) -> None:
        self._reader = Reader(self._folder, growing=True)
        boots = self._reader.boots()
        if not boots:
            self.close()
            return
        self.identity = self._reader.identity
        self._file = file

    def close(self) -> None:
        """Close the store; the next use opens it again."""
        reader, self._reader, self._file = self._reader, None, None
        if reader is not None:
            reader.close()


def newest_numbers(folder: Path) -> tuple[int, int]:
    """Read the numbers of the last block and event; (0, 0) where there is no store."""
    try:
        db = open_to_read(folder)
    except sqlite3.Error:
        return 0, 0
    try:
        query = "SELECT (SELECT max(id) FROM blocks), (SELECT max(id) FROM events)"
        block, event = db.execute(query).fetchone()
    except sqlite3.Error:
        return 0, 0
    finally:
        db.close()
    return block or 0, event or 0


def is_over(boot: Boot, boots: dict[int, Boot]) -> bool:
    """Tell whether a later boot is known: nothing more comes from this one."""
    return max(boots) > boot.id
