"""The store's writer: commits that fail at any statement lose nothing and double nothing."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from ventwright.events import Readings, Record
from ventwright.storage import writer as writing
from ventwright.storage.reader import Reader, is_store
from ventwright.storage.schema import open_to_write, store_path
from ventwright.storage.writer import Writer

OFFSET = 1_790_000_000_000


def writer(folder: Path, boot: str = "boot-1", offset: int = OFFSET) -> Writer:
    made = Writer(folder, boot, offset)
    made.part("bench", "pms5003", ("pm1", "pm2_5"))
    made.part("door", "scd41", ("co2",))
    return made


def feed(store: Writer, n: int) -> None:
    store.add(Readings(1000 * n, "bench", (n, None), b"\0\6"))
    store.add(Readings(1000 * n + 1, "door", (400 + n,), b"\0"))
    store.add(Record(1000 * n + 2, "alarm", "print", {"n": n}))
    store.keep("core", {"n": n})


def stored(folder: Path) -> tuple[list[tuple[str, int, Any]], list[int], Any]:
    """All samples in order, the numbers of all events, and the state."""
    reader = Reader(folder)
    samples = []
    for found in reader.all_blocks():
        block = found.open()
        rows = zip(*(column.steps for column in block.columns), strict=True)
        samples += [(found.part.name, t, row) for t, row in zip(block.times, rows, strict=True)]
    events = [event.body["n"] for event in reader.events()]
    state = reader.state("core")
    reader.close()
    return sorted(samples), events, state


def wanted(count: int) -> tuple[list[tuple[str, int, Any]], list[int], Any]:
    bench = [("bench", 1000 * n, (n, None)) for n in range(count)]
    door = [("door", 1000 * n + 1, (400 + n,)) for n in range(count)]
    return bench + door, list(range(count)), {"n": count - 1}


def intact(folder: Path) -> bool:
    db = sqlite3.connect(store_path(folder))
    try:
        return bool(db.execute("PRAGMA integrity_check").fetchone() == ("ok",))
    finally:
        db.close()


def test_what_is_committed_is_read_back(tmp_path: Path) -> None:
    store = writer(tmp_path)
    for n in range(3):
        feed(store, n)
        store.commit()
    feed(store, 3)
    assert stored(tmp_path) == wanted(3)
    assert store.waiting == 2
    store.commit()
    store.close()
    assert stored(tmp_path) == wanted(4)
    assert is_store(tmp_path)


def test_it_is_wal_and_every_commit_is_synced(tmp_path: Path) -> None:
    db = open_to_write(tmp_path)
    assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert db.execute("PRAGMA synchronous").fetchone() == (2,)
    db.close()


@pytest.mark.parametrize("umask", [0, 0o007, 0o077])
def test_the_store_is_written_by_its_owner_and_read_by_its_group_only(
    tmp_path: Path, umask: int
) -> None:
    before = os.umask(umask)
    try:
        store = writer(tmp_path / "store")
        feed(store, 0)
        store.commit()
    finally:
        os.umask(before)
    rights = {file.name: file.stat().st_mode & 0o777 for file in (tmp_path / "store").iterdir()}
    assert set(rights) == {f"readings.sqlite{side}" for side in ("", "-wal", "-shm")}
    assert set(rights.values()) == {0o640 & ~umask}
    store.close()


class Failing:
    """A connection whose n-th statement fails: once, or from then on."""

    left = 0
    for_ever = False
    count = 0

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def _statement(self) -> None:
        Failing.count += 1
        Failing.left -= 1
        if Failing.left == 0 or (Failing.left < 0 and Failing.for_ever):
            raise sqlite3.OperationalError("disk I/O error")

    def execute(self, *words: Any) -> Any:
        self._statement()
        return self._db.execute(*words)

    def executemany(self, *words: Any) -> Any:
        self._statement()
        return self._db.executemany(*words)

    def close(self) -> None:
        self._db.close()


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Iterator[type[Failing]]:
    monkeypatch.setattr(writing, "open_to_write", lambda folder: Failing(open_to_write(folder)))
    Failing.left, Failing.for_ever, Failing.count = 0, False, 0
    return Failing


STATEMENTS = 14


def test_the_number_of_statements_of_a_first_commit(tmp_path: Path, failing: Any) -> None:
    store = writer(tmp_path)
    feed(store, 0)
    store.commit()
    store.close()
    assert failing.count == STATEMENTS


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("at", range(1, STATEMENTS + 1))
def test_a_commit_that_fails_at_any_statement_loses_and_doubles_nothing(
    tmp_path: Path, failing: Any, at: int, for_ever: bool
) -> None:
    store = writer(tmp_path)
    feed(store, 0)
    failing.left, failing.for_ever = at, for_ever
    for _ in range(3 if for_ever else 1):
        with pytest.raises(sqlite3.Error):
            store.commit()
    assert stored(tmp_path) == ([], [], None)
    failing.left, failing.for_ever = 0, False
    feed(store, 1)
    store.commit()
    store.close()
    assert stored(tmp_path) == wanted(2)
    assert intact(tmp_path)


class Lying(Failing):
    """A connection that reports a failure after a commit that took effect."""

    def execute(self, *words: Any) -> Any:
        done = self._db.execute(*words)
        if words[0] == "COMMIT" and Lying.left:
            Lying.left -= 1
            raise sqlite3.OperationalError("disk I/O error")
        return done


@pytest.mark.parametrize("others", [0, 3])
def test_a_commit_that_took_effect_and_reported_a_failure_doubles_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, others: int
) -> None:
    monkeypatch.setattr(writing, "open_to_write", lambda folder: Lying(open_to_write(folder)))
    monkeypatch.setattr(writing, "_MOST_SAMPLES", 6 if others else 200_000)
    store = writer(tmp_path)
    for n in range(4):
        feed(store, n)
        Lying.left = 1
        with pytest.raises(sqlite3.Error):
            store.commit()
        assert stored(tmp_path) == wanted(n + 1)
    feed(store, 4)
    store.commit()
    store.close()
    assert stored(tmp_path) == wanted(5)


def test_a_folder_that_cannot_be_made_fails_and_loses_nothing(tmp_path: Path) -> None:
    (tmp_path / "store").write_text("in the way")
    store = writer(tmp_path / "store")
    feed(store, 0)
    with pytest.raises(OSError, match="exists"):
        store.commit()
    (tmp_path / "store").unlink()
    store.commit()
    store.close()
    assert stored(tmp_path / "store") == wanted(1)


def test_what_is_refused_for_too_long_is_given_up_from_the_oldest_and_counted(
    tmp_path: Path, failing: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "_MOST_SAMPLES", 20)
    monkeypatch.setattr(writing, "_MOST_RECORDS", 5)
    store = writer(tmp_path)
    failing.left, failing.for_ever = 1, True
    for n in range(30):
        feed(store, n)
        with pytest.raises(sqlite3.Error):
            store.commit()
    failing.left, failing.for_ever = 0, False
    store.commit()
    store.close()
    samples, events, _ = stored(tmp_path)
    assert events == list(range(25, 30))
    assert samples == [s for s in wanted(30)[0] if s[1] >= 20_000]
    assert store.dropped == 40 + 25


def labels(folder: Path) -> tuple[int, bool]:
    reader = Reader(folder)
    boot = reader.boots()[1]
    reader.close()
    return boot.offset, boot.settled


def test_settled_labels_never_change_afterwards(tmp_path: Path) -> None:
    store = writer(tmp_path)
    store.commit()
    store.guess(OFFSET + 500)
    store.commit()
    assert labels(tmp_path) == (OFFSET, False)
    store.guess(OFFSET + 5000)
    store.commit()
    assert labels(tmp_path) == (OFFSET + 5000, False)
    store.settle(OFFSET + 7)
    store.commit()
    for offset in (0, OFFSET - 3_600_000):
        store.settle(offset)
        store.commit()
        store.guess(offset)
        store.commit()
    store.close()
    assert labels(tmp_path) == (OFFSET + 7, True)


def test_a_new_process_of_the_same_boot_keeps_the_settled_labels(tmp_path: Path) -> None:
    store = writer(tmp_path)
    store.settle(OFFSET)
    store.commit()
    store.close()
    for settled in (False, True):
        again = writer(tmp_path, offset=17)
        if settled:
            again.settle(17)
        feed(again, 0)
        again.commit()
        again.close()
    assert labels(tmp_path) == (OFFSET, True)


def test_boots_and_parts_are_told_apart(tmp_path: Path) -> None:
    for n, boot in enumerate(("boot-1", "boot-2", "boot-1")):
        store = writer(tmp_path, boot)
        feed(store, n)
        store.commit()
        store.close()
    reader = Reader(tmp_path)
    assert [b.name for b in reader.boots().values()] == ["boot-1", "boot-2"]
    assert [b.boot for b in reader.blocks()] == [1, 1, 2, 2, 1, 1]
    assert {b.part.model for b in reader.blocks()} == {"pms5003", "scd41"}
    assert (reader.newest(1), reader.newest(2), reader.newest(9)) == (2002, 1002, None)
    assert reader.latest(0) == {1: 2001, 2: 1001}
    last = reader.last_event("alarm")
    assert last is not None
    assert (last.boot, last.body) == (1, {"n": 2})
    assert reader.last_event("relay") is None
    reader.close()


def test_there_is_no_store_where_there_is_none(tmp_path: Path) -> None:
    assert not is_store(tmp_path)
    assert not is_store(tmp_path / "nowhere")


@pytest.mark.parametrize("body", ["{", b"no zlib", b""])
def test_a_damaged_piece_of_state_is_a_value_error(tmp_path: Path, body: str | bytes) -> None:
    store = writer(tmp_path)
    feed(store, 0)
    store.commit()
    store.close()
    with closing(sqlite3.connect(store_path(tmp_path))) as db, db:
        db.execute("UPDATE state SET body = ? WHERE key = 'core'", (body,))
    with (
        closing(Reader(tmp_path)) as reader,
        pytest.raises(ValueError, match=r"damaged|line 1"),
    ):
        reader.state("core")
