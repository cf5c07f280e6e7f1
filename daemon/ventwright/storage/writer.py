"""Writes the store: events at once, readings in blocks, and keeps what the disk refuses.

Knows the tables; knows no rule and no clock. "Stored" means committed: `commit` returned.
"""

import json
import sqlite3
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from ventwright.events import Readings, Record
from ventwright.storage.blocks import pack
from ventwright.storage.damage import set_aside
from ventwright.storage.disk import SameDisk
from ventwright.storage.schema import open_to_write, pack_state, store_path

_MOST_SAMPLES = 60_000
"""Samples held in memory while the disk refuses them: some hours; the oldest go first. Of twelve
quantities each they take 57 MB by the time they are stored, of the unit's 120; 200,000 took 185.
"""

_MOST_RECORDS = 10_000


class _Doubt(NamedTuple):
    """A commit that may have taken effect although it reported a failure."""

    before: tuple[int, int]
    after: tuple[int, int]
    readings: int
    records: int


def _newest(db: sqlite3.Connection) -> tuple[int, int]:
    """Read the numbers of the newest block and event."""
    query = "SELECT (SELECT max(id) FROM blocks), (SELECT max(id) FROM events)"
    block, event = db.execute(query).fetchone()
    return block or 0, event or 0


class Writer:
    """The store, open for writing by its one writer."""

    def __init__(self, folder: Path, boot: str, offset: int) -> None:
        """Remember where the store is; `offset` makes Unix time (ms) of the boot's times."""
        self._folder = folder
        self._boot_name = boot
        self._offset = offset
        self._settled = False
        self._db: sqlite3.Connection | None = None
        self._disk = SameDisk(store_path(folder))
        self._boot = 0
        self._parts: dict[str, tuple[str, tuple[str, ...]]] = {}
        self._numbers: dict[str, int] = {}
        self._readings: list[Readings] = []
        self._records: list[Record] = []
        self._state: dict[str, bytes] = {}
        self._doubt: _Doubt | None = None
        self.dropped = 0
        """Readings and records given up because the disk refused them for too long."""

    def part(self, name: str, model: str, quantities: tuple[str, ...]) -> None:
        """Announce a part whose readings will come."""
        self._parts[name] = (model, quantities)

    def settle(self, offset: int) -> None:
        """Fix this boot's labels for good, the clock being right now."""
        self._offset, self._settled = offset, True

    def guess(self, offset: int) -> None:
        """Move this boot's provisional labels if they are off by more than a second."""
        if abs(offset - self._offset) > 1000:
            self._offset = offset

    def add(self, item: Readings | Record) -> None:
        """Take an item for the next commit."""
        if isinstance(item, Readings):
            self._readings.append(item)
        else:
            self._records.append(item)

    def keep(self, key: str, body: Any) -> None:
        """Take a piece of state for the next commit, in place of the former one."""
        self._state[key] = pack_state(body)

    def unstored(self, most: int) -> list[dict[str, Any]]:
        """List the newest records not yet committed, oldest first, to be told from here.

        Requests are left out: they are told by their answers, and may be of any length.
        """
        told = [record for record in list(self._records) if record.kind != "request"]
        return [{"boot": self._boot_name, **record._asdict()} for record in told[-most:]]

    @property
    def waiting(self) -> int:
        """Count the samples not yet committed."""
        return len(self._readings)

    def commit(self) -> None:
        """Write and sync all that was taken; raises sqlite3.Error or OSError, losing nothing."""
        try:
            db = self._connection()
            db.execute("BEGIN IMMEDIATE")
            self._resolve(db)
            before = _newest(db)
            self._write(db)
            self._doubt = _Doubt(before, _newest(db), len(self._readings), len(self._records))
            db.execute("COMMIT")
        except BaseException:
            self.close()
            self._shed()
            raise
        self._readings, self._records, self._state, self._doubt = [], [], {}, None

    def _resolve(self, db: sqlite3.Connection) -> None:
        """Let go of what a commit stored that had reported a failure; we are the only writer."""
        doubt, self._doubt = self._doubt, None
        if doubt and doubt.before != doubt.after == _newest(db):
            del self._readings[: doubt.readings]
            del self._records[: doubt.records]

    def tend(self, work: Callable[[sqlite3.Connection, int], bool]) -> bool:
        """Do work on the tables in one commit; raises sqlite3.Error or OSError, having done none.

        `work` gets the connection and this boot's number, and tells whether there is more to do.
        """
        try:
            db = self._connection()
            db.execute("BEGIN IMMEDIATE")
            more = work(db, self._boot)
            db.execute("COMMIT")
        except BaseException:
            self.close()
            raise
        return more

    def set_aside(self, day: str) -> Path:
        """Give the file another name, to begin a new one with the next commit; raises OSError."""
        self.close()
        self._doubt = None
        return set_aside(store_path(self._folder), day)

    def _connection(self) -> sqlite3.Connection:
        if self._db is None:
            self._disk.check()
            self._db = open_to_write(self._folder)
            self._disk.note()
            self._numbers = {}
        return self._db

    def _write(self, db: sqlite3.Connection) -> None:
        self._write_boot(db)
        by_part: dict[str, list[Readings]] = defaultdict(list)
        for item in self._readings:
            by_part[item.part].append(item)
        for name, items in by_part.items():
            self._write_block(db, name, items)
        db.executemany(
            "INSERT INTO events (boot, t, kind, subject, body) VALUES (?, ?, ?, ?, ?)",
            [
                (self._boot, r.t, r.kind, r.subject, json.dumps(r.body, ensure_ascii=False))
                for r in self._records
            ],
        )
        db.executemany(
            "INSERT INTO state VALUES (?, ?) ON CONFLICT DO UPDATE SET body = excluded.body",
            self._state.items(),
        )

    def _write_boot(self, db: sqlite3.Connection) -> None:
        db.execute(
            "INSERT INTO boots (name, offset, settled) VALUES (?, ?, ?) ON CONFLICT DO UPDATE"
            " SET offset = excluded.offset, settled = excluded.settled WHERE settled = 0"
            " AND (offset, settled) <> (excluded.offset, excluded.settled)",
            (self._boot_name, self._offset, self._settled),
        )
        query = "SELECT id FROM boots WHERE name = ?"
        self._boot = db.execute(query, (self._boot_name,)).fetchone()[0]

    def _part_number(self, db: sqlite3.Connection, name: str) -> int:
        if name not in self._numbers:
            model, quantities = self._parts[name]
            key = (name, model, json.dumps(quantities))
            db.execute(
                "INSERT OR IGNORE INTO parts (name, model, quantities) VALUES (?, ?, ?)", key
            )
            query = "SELECT id FROM parts WHERE (name, model, quantities) = (?, ?, ?)"
            self._numbers[name] = db.execute(query, key).fetchone()[0]
        return self._numbers[name]

    def _write_block(self, db: sqlite3.Connection, name: str, items: list[Readings]) -> None:
        times = [item.t for item in items]
        steps = list(zip(*(item.steps for item in items), strict=True))
        marks = [bytes(column) for column in zip(*(item.marks for item in items), strict=True)]
        body = pack(times, list(zip(steps, marks, strict=True)))
        db.execute(
            "INSERT INTO blocks (boot, part, first, last, count, body) VALUES (?, ?, ?, ?, ?, ?)",
            (self._boot, self._part_number(db, name), times[0], times[-1], len(times), body),
        )

    def _shed(self) -> None:
        samples = _shorten(self._readings, _MOST_SAMPLES)
        records = _shorten(self._records, _MOST_RECORDS)
        self.dropped += samples + records
        if doubt := self._doubt:
            left = max(0, doubt.readings - samples), max(0, doubt.records - records)
            self._doubt = _Doubt(doubt.before, doubt.after, *left)

    def close(self) -> None:
        """Close the store; what was not committed stays here."""
        db, self._db = self._db, None
        if db is not None:
            db.close()


def _shorten(held: list[Any], most: int) -> int:
    """Give up the oldest of what is held; returns how many."""
    extra = max(0, len(held) - most)
    del held[:extra]
    return extra
