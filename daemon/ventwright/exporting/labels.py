"""Which wall-clock label a stored time gets, and when; once given, it never changes."""

import sqlite3
from datetime import UTC, datetime

from ventwright.courier.file import CourierFile
from ventwright.courier.stock import is_over
from ventwright.storage.reader import Boot

BUILT_MS = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp()) * 1000
"""No reading is older than this program: a label before it (Unix ms) is a wrong clock."""

TOO_EARLY = "stamped before 2026-01-01, so the clock was wrong"


class Labels:
    """The offsets (ms) with which the readings of each boot are pushed; the first push fixes it."""

    def __init__(self, file: CourierFile) -> None:
        """Read and keep them in the courier's file."""
        self._file = file
        self._fixed: dict[str, int] = {}

    def offset(self, boot: Boot, boots: dict[int, Boot]) -> int | None:
        """Return the boot's offset, or None while it may still change; raises sqlite3.Error."""
        if boot.name not in self._fixed:
            if not (boot.settled or is_over(boot, boots)):
                return None
            self._fix(boot)
        return self._fixed[boot.name]

    def _fix(self, boot: Boot) -> None:
        with self._file.transaction() as db:
            db.execute("INSERT OR IGNORE INTO labels VALUES (?, ?)", (boot.name, boot.offset))
            self._fixed[boot.name] = _read(db, boot.name)


def _read(db: sqlite3.Connection, name: str) -> int:
    row = db.execute("SELECT offset FROM labels WHERE boot = ?", (name,)).fetchone()
    found: int = row[0]
    return found
