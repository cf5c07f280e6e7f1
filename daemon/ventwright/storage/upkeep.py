"""Keeps the store small, in the store's thread, between commits: reduces what is an hour old, and
prunes what is too old or too much.

Knows what is to be done and how often it is tried; knows no table. Whatever fails here never keeps
a reading from being stored.
"""

import logging
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from ventwright.means.minutes import MINUTE_MS
from ventwright.settings.model import HOUR, Storage
from ventwright.storage.pruning import LEAST, Limits, prune
from ventwright.storage.reducing import reduce_next
from ventwright.storage.schema import identity, in_body
from ventwright.storage.writer import Writer

_EVERY_MS = MINUTE_MS
_HOURS_AT_ONCE = 4
"""More would keep a small board's processor from everything else for too long."""

RESERVE = 32_000_000
"""Bytes that stay free on the disk: a full one cannot be cleaned, for deleting needs room too."""

EVERY_EVENT = 1 << 62
"""Told or pushed up to here: where nobody is told, or there is no database, no event waits."""

_TOLD = f"""
SELECT 1 FROM events WHERE kind = 'store' AND {in_body("change")} = 'shortened'
AND {in_body("most")} = ?
"""  # noqa: S608

log = logging.getLogger(__name__)


class Space(NamedTuple):
    """Bytes of the store's file: in use, and free for use inside it; and free on the disk."""

    used: int
    spare: int
    free: int


def free_on_disk(folder: Path) -> int:
    """Tell how many bytes an ordinary user may still write there; raises OSError."""
    found = os.statvfs(folder)
    return found.f_bavail * found.f_frsize


def _space(db: sqlite3.Connection, free: int) -> Space:
    names = ("page_count", "freelist_count", "page_size")
    pages, spare, size = (db.execute(f"PRAGMA {name}").fetchone()[0] for name in names)
    return Space((pages - spare) * size, spare * size, free)


class Upkeep:
    """What the store needs besides new readings."""

    def __init__(
        self,
        settings: Storage,
        told: int = 0,
        pushed: int = 0,
        free: Callable[[Path], int] = free_on_disk,
    ) -> None:
        """Be due at once; `told` and `pushed` up to which event's number all is, or need not be."""
        self._settings, self._free = settings, free
        self._due: int | None = None
        self._done, self._done_of = (told, pushed), ("", 0, 0)
        self._limits = Limits(
            *(
                max(1, kept // HOUR)
                for kept in (
                    settings.keep_readings,
                    settings.keep_minutes,
                    settings.keep_hours,
                    settings.keep_events,
                )
            )
        )
        self.space: Space | None = None
        """As it was last looked at."""
        self.tight = False
        """Whether the store has to keep less than it was told to."""
        self._news = self._over = False

    def allow(self, store: str, told: int, pushed: int) -> None:
        """Let events of a store go, once they are old, up to two numbers; from whatever thread."""
        self._done_of = (store, told, pushed)

    @property
    def most(self) -> int:
        """How large the store may be, MB."""
        return self._settings.most_megabytes

    def take_news(self) -> bool:
        """Tell, once for all time of a store and its size, that it grew above that."""
        news, self._news = self._news, False
        return news

    def facts(self) -> dict[str, Any]:
        """Tell how large the store is and may be, MB, as it was last looked at."""
        used = self.space and round(self.space.used / 1e6, 1)
        spare = self.space and round(self.space.spare / 1e6, 1)
        most = self._settings.most_megabytes
        return {"used (MB)": used, "spare (MB)": spare, "most (MB)": most, "tight": self.tight}

    def step(self, writer: Writer, now: int) -> None:
        """Do a little of it if it is due; all readings before `now` (ms of the boot) are stored."""
        if self._due is not None and now < self._due:
            return
        self._due = now + _EVERY_MS
        self._repeat(writer, lambda db, boot: reduce_next(db, boot, now))
        self._repeat(writer, lambda db, _boot: self._prune(db))

    @staticmethod
    def _repeat(writer: Writer, work: Callable[[sqlite3.Connection, int], bool]) -> None:
        try:
            for _ in range(_HOURS_AT_ONCE):
                if not writer.tend(work):
                    return
        except Exception as error:  # noqa: BLE001 - the store's thread goes on
            log.warning("the store is not looked after now, trying again: %s", error)

    def _prune(self, db: sqlite3.Connection) -> bool:
        self.space = _space(db, self._free(self._settings.folder))
        tight = self._is_tight(self.space)
        if tight and not self.tight:
            log.warning("the store has to be kept smaller than it was to be: %s", self.space)
        self.tight = tight
        over = self.space.used > self.most * 1_000_000
        if over and not self._over:
            self._news = db.execute(_TOLD, (self.most,)).fetchone() is None
        self._over = over
        store, *said = self._done_of
        done = map(max, self._done, said) if store == identity(db) else self._done
        return prune(db, self._least() if tight else self._limits, *done)

    def _is_tight(self, space: Space) -> bool:
        most = self._settings.most_megabytes * 1_000_000
        return space.used > most or space.free + space.spare < RESERVE

    def _least(self) -> Limits:
        return Limits(*map(min, self._limits, LEAST))
