"""Reading leaves no file behind, works where nothing may be written, and keeps no writer out."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from stored import fill, samples_of, writer
from ventwright.courier.accounts import counts
from ventwright.courier.file import CourierFile, count
from ventwright.storage import schema
from ventwright.storage.copying import copy_store
from ventwright.storage.reader import Reader
from ventwright.storage.schema import beside, store_path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A store and a courier's file at rest."""
    store = writer(tmp_path)
    fill(store, 120)
    store.close()
    file = CourierFile(tmp_path)
    with file.transaction() as db:
        count(db, "delivered", 7)
    file.close()
    return tmp_path


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_file())


def test_no_file_is_made_beside_one_that_rests(folder: Path, tmp_path: Path) -> None:
    assert samples_of(folder) == 240
    assert counts(folder)["delivered"] == 7
    copy_store(folder, tmp_path / "copy")
    assert names(folder) == ["courier.sqlite", "readings.sqlite"]
    assert names(tmp_path / "copy") == ["readings.sqlite"]


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Mount the folder over itself, so that nobody may write there."""
    subprocess.run(["mount", "--bind", folder, folder], check=True)
    try:
        subprocess.run(["mount", "-o", "remount,ro,bind", folder], check=True)
        yield
    finally:
        subprocess.run(["umount", folder], check=True)


def test_a_store_on_a_disk_that_turned_read_only_is_read(folder: Path) -> None:
    with read_only(folder):
        with pytest.raises(OSError, match="Read-only"):
            (folder / "new").touch()
        assert samples_of(folder) == 240
        assert counts(folder)["delivered"] == 7


def test_a_connection_that_stays_open_shows_what_is_stored_later(folder: Path) -> None:
    reader = Reader(folder, growing=True)
    store = writer(folder)
    fill(store, 60, start=10**6)
    assert sum(block.samples for block in reader.blocks()) == 360
    store.close()
    reader.close()


AS_ANOTHER = """
import os, sqlite3, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from stored import fill, writer
os.setgid(int(sys.argv[3]))
os.setuid(int(sys.argv[3]))
"""
LOOKED_INTO = """
db = sqlite3.connect(f"file:{sys.argv[1]}/readings.sqlite?mode=ro", uri=True)
db.execute("SELECT count(*) FROM blocks").fetchone()
"""
STORED = """
store = writer(Path(sys.argv[1]), "boot-2")
fill(store, 60)
store.close()
"""
OWNER, MEMBER = 12346, 12345


def do(what: str, folder: str, who: int) -> None:
    tests = str(Path(__file__).parents[2])
    command = [sys.executable, "-c", AS_ANOTHER + what, folder, tests, str(who)]
    subprocess.run(command, check=True)


def test_what_another_program_has_left_beside_it_keeps_no_writer_out() -> None:
    with TemporaryDirectory(dir="/var/tmp") as name:
        os.chown(name, OWNER, MEMBER)
        Path(name).chmod(0o770)
        do(STORED, name, OWNER)
        file = store_path(Path(name))
        os.chown(file, OWNER, MEMBER)
        do(LOOKED_INTO, name, MEMBER)
        assert beside(file, "-shm").stat().st_uid == MEMBER
        do(STORED, name, OWNER)
        assert samples_of(Path(name)) == 240


def test_what_holds_readings_is_never_removed(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = writer(folder, "boot-2")
    fill(store, 60)
    monkeypatch.setattr(os, "access", lambda *_: False)
    schema._clear(store_path(folder))
    monkeypatch.undo()
    assert beside(store_path(folder), "-wal").stat().st_size > 0
    store.close()
    assert samples_of(folder) == 360
