"""The store's own writer on a disk that loses its power, after reliability.md section 2."""

import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import apsw
import pytest

from faults.powercut import Disk, RecordingVfs
from ventwright.events import Readings, Record
from ventwright.storage import schema
from ventwright.storage.condensing import HOUR_MS
from ventwright.storage.damage import examine
from ventwright.storage.pruning import Limits, prune
from ventwright.storage.reader import Reader
from ventwright.storage.reducing import reduce_next
from ventwright.storage.writer import Writer

SEEDS = 60


class Cursor:
    """The part of sqlite3's cursor that the writer uses."""

    def __init__(self, db: apsw.Connection, sql: str, words: Any) -> None:
        self._inner = db.cursor().execute(sql, words)
        self.fetchone, self.fetchall = self._inner.fetchone, self._inner.fetchall
        self.rowcount, self.lastrowid = db.changes(), db.last_insert_rowid()


class Connection:
    """The part of sqlite3's connection that the writer uses, on apsw."""

    def __init__(self, path: str, vfs: str) -> None:
        self._db = apsw.Connection(path, vfs=vfs)

    def execute(self, sql: str, words: Any = ()) -> Cursor:
        return Cursor(self._db, sql, words)

    def executescript(self, sql: str) -> None:
        self._db.cursor().execute(sql)

    def executemany(self, sql: str, rows: Any) -> None:
        self._db.cursor().executemany(sql, list(rows))

    def close(self) -> None:
        self._db.close()


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Disk]:
    """Have the writer open its store on a disk that can lose its power."""
    found = Disk()
    vfs = RecordingVfs("power-cut", found)
    monkeypatch.setattr(
        schema.sqlite3, "connect", lambda path, **_: Connection(str(path), "power-cut")
    )
    yield found
    vfs.unregister()


def commit_some(folder: Path, dice: random.Random) -> tuple[Writer, int]:
    """Commit up to 60 groups, large and small, and leave one begun; returns their number."""
    store = Writer(folder, "boot", 0)
    store.part("bench", "pms5003", ("pm1",))
    count = dice.randrange(1, 60)
    for n in range(count):
        for k in range(dice.choice([1, 50])):
            store.add(Readings(100 * n + k, "bench", (dice.getrandbits(40),), b"\0"))
        store.add(Record(n, "alarm", "print", {"n": n, "text": "x" * dice.choice([1, 3000])}))
        store.keep("core", {"n": n})
        store.commit()
        if dice.random() < 0.1:
            writer_checkpoint(store)
    return store, count


def writer_checkpoint(store: Writer) -> None:
    assert store._db is not None
    store._db.execute("PRAGMA wal_checkpoint")


def tear(store: Writer, count: int) -> None:
    """Begin a commit that the power cut interrupts."""
    store.add(Record(count, "alarm", "print", {"n": count, "text": "y" * 9000}))
    db = store._connection()
    db.execute("BEGIN IMMEDIATE")
    store._write(db)


def after_the_cut(folder: Path) -> tuple[str, list[int], int, int]:
    db = sqlite3.connect(schema.store_path(folder))
    verdict = db.execute("PRAGMA integrity_check").fetchone()[0]
    db.close()
    reader = Reader(folder)
    events = [event.body["n"] for event in reader.events()]
    samples = sum(len(block.open().times) > 0 for block in reader.all_blocks())
    state = reader.state("core")["n"]
    reader.close()
    return verdict, events, samples, state


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_power_cut_takes_nothing_that_was_acknowledged(
    tmp_path: Path, disk: Disk, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    dice = random.Random(seed)
    store, count = commit_some(tmp_path / "store", dice)
    if dice.random() < 0.5:
        tear(store, count)
    disk.cut(tmp_path / "after", dice)
    store.close()
    monkeypatch.undo()
    wanted = list(range(count))
    assert after_the_cut(tmp_path / "after") == ("ok", wanted, count, count - 1)


@pytest.mark.parametrize("seed", range(SEEDS // 3))
def test_a_power_cut_amid_reducing_and_pruning_loses_no_reading_and_counts_none_twice(
    tmp_path: Path, disk: Disk, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    dice, count = random.Random(seed), 0
    store = Writer(tmp_path / "store", "boot", 0)
    store.settle(0)
    store.part("bench", "pms5003", ("pm1",))
    works: list[Any] = [
        lambda db, boot: reduce_next(db, boot, 100 * HOUR_MS),
        lambda db, _boot: prune(db, Limits(2, 4, 9, 9), 0, 0),
    ]
    for hour in range(dice.randrange(3, 12)):
        for minute in range(0, 60, 10):
            store.add(Readings(hour * HOUR_MS + minute * 60_000, "bench", (count,), b"\0"))
            count += 1
        store.commit()
        for work in works:
            while dice.random() < 0.8 and store.tend(work):
                pass
    db = store._connection()
    db.execute("BEGIN IMMEDIATE")
    dice.choice(works)(db, store._boot)
    disk.cut(tmp_path / "after", dice)
    store.close()
    monkeypatch.undo()
    reader = Reader(tmp_path / "after")
    left = [step for block in reader.all_blocks() for step in block.open().columns[0].steps]
    assert left == list(range(reader.pruned(), count))
    reader.close()
    assert examine(schema.store_path(tmp_path / "after")) == ""


def test_the_disk_does_lose_what_was_not_synced(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Writer(tmp_path / "store", "boot", 0)
    store.commit()
    assert store._db is not None
    store._db.execute("PRAGMA synchronous = NORMAL")
    for n in range(60):
        store.add(Record(n, "alarm", "print", {"n": n}))
        store.commit()
    disk.cut(tmp_path / "after", random.Random(1))
    store.close()
    monkeypatch.undo()
    reader = Reader(tmp_path / "after")
    assert len(reader.events()) < 60
    reader.close()
