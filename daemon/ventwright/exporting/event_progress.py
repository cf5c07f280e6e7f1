"""How far pushing of events has come, and what became of each; saved as that of readings is."""

from dataclasses import astuple, dataclass, field
from typing import NamedTuple

from ventwright.courier.file import CourierFile
from ventwright.exporting.progress import MOST_UNSAVED, keep_aside


class EventAside(NamedTuple):
    """An event that will never be at the database, and why."""

    event: int
    line: str
    reason: str


@dataclass
class EventCounts:
    """Events taken by the database, refused by it, dropped here, and pruned before all that."""

    pushed: int = 0
    refused: int = 0
    dropped: int = 0
    gone: int = 0

    def add(self, other: "EventCounts") -> None:
        """Take in other counts."""
        self.pushed += other.pushed
        self.refused += other.refused
        self.dropped += other.dropped
        self.gone += other.gone


@dataclass
class EventGain:
    """What became of the events up to `mark`."""

    mark: int
    counts: EventCounts = field(default_factory=EventCounts)
    aside: list[EventAside] = field(default_factory=list)


class EventProgress:
    """The mark and the counts of events for one store."""

    def __init__(self, file: CourierFile, store: str) -> None:
        """Read the mark; raises sqlite3.Error."""
        self._file, self._store = file, store
        with file.transaction() as db:
            db.execute("INSERT OR IGNORE INTO pushed_events (store) VALUES (?)", (store,))
        query = "SELECT mark FROM pushed_events WHERE store = ?"
        (mark,) = file.db.execute(query, (store,)).fetchone()
        self._saved = mark
        self._new = EventGain(mark)

    @property
    def mark(self) -> int:
        """The number of the last event that is done with."""
        return self._new.mark

    @property
    def urgent(self) -> bool:
        """True while something set aside is not yet saved."""
        return bool(self._new.aside)

    def begin_anew(self) -> None:
        """Count from nothing: an older copy of the store is in its place. Raises sqlite3.Error."""
        query = "UPDATE pushed_events SET mark = 0, pushed = 0, refused = 0, dropped = 0, gone = 0"
        with self._file.transaction() as db:
            db.execute(f"{query} WHERE store = ?", (self._store,))
        self._saved, self._new = 0, EventGain(0)

    def advance(self, gain: EventGain) -> None:
        """Move the mark on, with what became of the events passed."""
        self._new.counts.add(gain.counts)
        aside = [*self._new.aside, *gain.aside][-MOST_UNSAVED:]
        self._new = EventGain(gain.mark, self._new.counts, aside)

    def save(self) -> None:
        """Write all that is new; raises sqlite3.Error, losing nothing."""
        new = self._new
        if new.mark == self._saved:
            return
        with self._file.transaction() as db:
            db.execute(
                "UPDATE pushed_events SET mark = ?, pushed = pushed + ?, refused = refused + ?,"
                " dropped = dropped + ?, gone = gone + ? WHERE store = ?",
                (new.mark, *astuple(new.counts), self._store),
            )
            keep_aside(db, [(self._store, 0, e.event, 0, e.line, e.reason) for e in new.aside])
        self._saved, self._new = new.mark, EventGain(new.mark)
