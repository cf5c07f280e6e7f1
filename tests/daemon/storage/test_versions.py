"""Stores of older and newer versions: brought up to date, or left alone and said so."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from fakes import FakeClock
from stored import OFFSET, fill, points_of, record, writer
from ventwright.events import Record, StoreReport
from ventwright.storage import schema
from ventwright.storage.keeping import Keeping, Labels
from ventwright.storage.reader import Reader
from ventwright.storage.reducing import reduce_next
from ventwright.storage.summaries import summaries

VERSION_1 = """
CREATE TABLE boots (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, offset INTEGER NOT NULL,
    settled INTEGER NOT NULL DEFAULT 0);
CREATE TABLE parts (id INTEGER PRIMARY KEY, name TEXT NOT NULL, model TEXT NOT NULL,
    quantities TEXT NOT NULL, UNIQUE (name, model, quantities));
CREATE TABLE blocks (id INTEGER PRIMARY KEY, boot INTEGER NOT NULL REFERENCES boots,
    part INTEGER NOT NULL REFERENCES parts, first INTEGER NOT NULL, last INTEGER NOT NULL,
    count INTEGER NOT NULL, body BLOB NOT NULL);
CREATE TABLE events (id INTEGER PRIMARY KEY, boot INTEGER NOT NULL REFERENCES boots,
    t INTEGER NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL, body TEXT NOT NULL);
CREATE TABLE state (key TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
"""
"""As version 0.1.0 made it before minutes and hours were kept."""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A store of version 1 with readings, events and state in it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(schema, "VERSION", 1)
        patch.setattr(schema, "_CHANGES", {0: VERSION_1})
        store = writer(tmp_path)
        fill(store, 4000)
        record(store, "alarm", "print", 7, change="raised")
        store.commit()
        store.close()
    with closing(sqlite3.connect(schema.store_path(tmp_path))) as db, db:
        db.execute("""INSERT INTO state VALUES ('core', '{"t": 5}')""")
    return tmp_path


def version(folder: Path) -> int:
    with closing(sqlite3.connect(schema.store_path(folder))) as db:
        found: int = db.execute("PRAGMA user_version").fetchone()[0]
    return found


def test_a_store_of_version_1_is_brought_up_to_date_and_loses_nothing(old: Path) -> None:
    reader = Reader(old)
    before = (points_of(old), reader.events(), reader.state("core"), reader.identity)
    reader.close()
    assert version(old) == 1
    store = writer(old, "boot-2", OFFSET + 10**8)
    store.commit()
    assert version(old) == schema.VERSION
    reader = Reader(old)
    assert (points_of(old), reader.events(), reader.state("core"), reader.identity) == before
    assert reader.identity == "boot-1"
    reader.close()
    while store.tend(lambda db, boot: reduce_next(db, boot, 0)):
        pass
    assert len(list(summaries(old, "bench.pm1", "hour", 0, 2**62))) == 2
    store.close()


def test_a_store_of_version_1_is_read_as_it_is(old: Path) -> None:
    found = list(summaries(old, "bench.pm1", "minute", 0, 2**62))
    assert len(found) == 67
    assert version(old) == 1


def test_the_tables_are_the_same_by_either_way(old: Path, tmp_path: Path) -> None:
    told = []
    for folder in (old, tmp_path / "new"):
        store = writer(folder)
        store.commit()
        store.close()
        with closing(sqlite3.connect(schema.store_path(folder))) as db:
            query = "SELECT sql FROM sqlite_master WHERE name NOT LIKE 'sqlite%' ORDER BY name"
            told.append([" ".join(_plain(row[0]).split()) for row in db.execute(query)])
    assert told[0] == told[1]


def _plain(sql: str) -> str:
    """Take remarks and spaces inside brackets out."""
    lines = "\n".join(line.partition("--")[0] for line in sql.splitlines())
    return " ".join(lines.split()).replace("( ", "(").replace(" )", ")")


@pytest.fixture
def newer(tmp_path: Path) -> Path:
    store = writer(tmp_path)
    fill(store, 10)
    store.close()
    with sqlite3.connect(schema.store_path(tmp_path)) as db:
        db.execute("PRAGMA journal_mode = DELETE")
        db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    db.close()
    return tmp_path


def test_a_newer_store_is_not_written_but_control_goes_on_and_it_is_told_once(
    newer: Path,
) -> None:
    before = schema.store_path(newer).read_bytes()
    clock, told = FakeClock(), list[StoreReport]()
    keeping = Keeping(writer(newer), clock, Labels(lambda: 7, lambda: True), 1000, told.append)
    for n in range(3):
        keeping._take(Record(n, "alarm", "print", {}))
        keeping._commit()
    keeping.finish()
    assert schema.store_path(newer).read_bytes() == before
    assert len(told) == 1
    assert "newer version" in told[0].why
    assert f"schema {schema.VERSION + 1}" in told[0].why
    assert [record["t"] for record in keeping.unstored] == [0, 1, 2]


def test_a_newer_store_is_not_read_either(newer: Path) -> None:
    with pytest.raises(schema.TooNewError, match="install the newer version"):
        Reader(newer)


def test_every_new_store_has_a_name_of_its_own(tmp_path: Path) -> None:
    names = set()
    for n in range(3):
        store = writer(tmp_path / str(n))
        store.commit()
        store.close()
        reader = Reader(tmp_path / str(n))
        names.add(reader.identity)
        reader.close()
    assert len(names) == 3
    assert all(len(name) == 16 for name in names)
