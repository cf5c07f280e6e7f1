"""How far pushing has come, and what became of every sample; saved now and then."""

import sqlite3
from dataclasses import dataclass, field
from typing import NamedTuple

from ventwright.courier.file import MOST_REFUSED, CourierFile

MOST_UNSAVED = 10_000
"""Refused records held while the courier's file cannot be written."""


_COUNTS = ("pushed", "empty", "refused", "dropped", "blocks_gone", "gone")
_SAMPLES = ("pushed", "empty", "refused", "dropped", "gone")


class SetAside(NamedTuple):
    """Samples of a block that will never be at the database, and why."""

    block: int
    samples: int
    line: str
    reason: str


@dataclass
class Gain:
    """What was done since the last save, in samples."""

    pushed: int = 0
    empty: int = 0
    refused: int = 0
    dropped: int = 0
    blocks_gone: int = 0
    gone: int = 0
    """In blocks that were pruned before they were pushed."""
    aside: list[SetAside] = field(default_factory=list)

    def drop(self, item: SetAside) -> None:
        """Count samples that the courier itself sets aside."""
        self.dropped += item.samples
        self.aside.append(item)

    def add(self, other: "Gain") -> None:
        """Take in another gain."""
        for name in _COUNTS:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.aside = [*self.aside, *other.aside][-MOST_UNSAVED:]


class Progress:
    """The mark and the counts for one store."""

    def __init__(self, file: CourierFile, store: str) -> None:
        """Read them; raises sqlite3.Error."""
        self._file, self._store = file, store
        with file.transaction() as db:
            db.execute("INSERT OR IGNORE INTO progress (store) VALUES (?)", (store,))
        query = f"SELECT block, {' + '.join(_SAMPLES)} FROM progress WHERE store = ?"  # noqa: S608
        self.mark: int
        """The number of the last block that is done with."""
        self.samples: int
        """All samples up to that block."""
        self.mark, self.samples = file.db.execute(query, (store,)).fetchone()
        self._saved = self.mark
        self._gain = Gain()

    def begin_anew(self) -> None:
        """Count from nothing: an older copy of the store is in its place, or it lost some.

        What is new in it would have numbers that were passed already. Raises sqlite3.Error.
        """
        query = f"UPDATE progress SET block = 0, {', '.join(f'{n} = 0' for n in _COUNTS)}"  # noqa: S608
        with self._file.transaction() as db:
            db.execute(f"{query} WHERE store = ?", (self._store,))
        self.mark = self._saved = self.samples = 0
        self._gain = Gain()

    def advance(self, mark: int, gain: Gain) -> None:
        """Move the mark on, with what became of the samples passed."""
        self.mark = mark
        self.samples += sum(getattr(gain, name) for name in _SAMPLES)
        self._gain.add(gain)

    @property
    def urgent(self) -> bool:
        """True while something set aside is not yet saved."""
        return bool(self._gain.aside)

    def save(self) -> None:
        """Write all that is new; raises sqlite3.Error, losing nothing."""
        if self.mark == self._saved:
            return
        gain = self._gain
        with self._file.transaction() as db:
            db.execute(
                "UPDATE progress SET block = ?, pushed = pushed + ?, empty = empty + ?,"
                " refused = refused + ?, dropped = dropped + ?, blocks_gone = blocks_gone + ?,"
                " gone = gone + ?"
                " WHERE store = ?",
                (self.mark, *(getattr(gain, name) for name in _COUNTS), self._store),
            )
            keep_aside(db, [(self._store, a.block, 0, *a[1:]) for a in gain.aside])
        self._saved, self._gain = self.mark, Gain()


def keep_aside(db: sqlite3.Connection, rows: list[tuple[str, int, int, int, str, str]]) -> None:
    """Keep what was set aside: store, block, event, samples, line, reason; raises sqlite3.Error."""
    db.executemany(
        "INSERT INTO refused (store, block, event, samples, line, reason)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        rows,
    )
    if rows:
        query = "DELETE FROM refused WHERE id <= (SELECT max(id) FROM refused) - ?"
        db.execute(query, (MOST_REFUSED,))
