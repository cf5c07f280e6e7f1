"""A damaged file is found, set aside under a dated name and said so; storing goes on."""

import random
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from fakes import FakeClock
from stored import OFFSET, fill, samples_of, writer
from ventwright.events import Record, StoreReport
from ventwright.storage.damage import examine, set_aside, were_set_aside
from ventwright.storage.keeping import Damaged, Keeping, Labels
from ventwright.storage.reader import Reader
from ventwright.storage.schema import beside, store_path


def store_of(folder: Path, samples: int = 2000) -> Path:
    store = writer(folder)
    fill(store, samples)
    store.close()
    return store_path(folder)


def scribble(file: Path, seed: int = 1, first: int = 0) -> None:
    """Write nonsense over some pages, as a dying card does."""
    dice, data = random.Random(seed), bytearray(file.read_bytes())
    for _ in range(12):
        at = dice.randrange(first, len(data) - 600)
        data[at : at + 600] = dice.randbytes(600)
    file.write_bytes(data)


def keeping(folder: Path, told: list[StoreReport]) -> Keeping:
    labels = Labels(lambda: OFFSET, lambda: True)
    return Keeping(writer(folder), FakeClock(), labels, 1000, told.append)


def aside(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("readings.damaged*"))


def test_a_sound_or_missing_store_is_not_called_damaged(tmp_path: Path) -> None:
    assert examine(store_path(tmp_path)) == ""
    store_of(tmp_path)
    assert examine(store_path(tmp_path)) == examine(store_path(tmp_path), 0.5) == ""


@pytest.mark.parametrize("seed", range(5))
def test_damage_is_found(tmp_path: Path, seed: int) -> None:
    scribble(store_of(tmp_path), seed, 4096)
    assert examine(store_path(tmp_path))


def test_a_file_that_is_no_store_is_damage(tmp_path: Path) -> None:
    store_path(tmp_path).write_bytes(b"nonsense " * 999)
    assert "not a database" in examine(store_path(tmp_path))


def test_looking_ends_when_its_time_is_over(tmp_path: Path) -> None:
    store_of(tmp_path, 20_000)
    began = time.process_time()
    assert examine(store_path(tmp_path), 0) == ""
    assert time.process_time() - began < 0.5


def test_names_of_damaged_files_are_dated_and_never_taken_twice(tmp_path: Path) -> None:
    for _ in range(3):
        store_of(tmp_path, 10)
        store_path(tmp_path).with_name("readings.sqlite-wal").write_bytes(b"")
        set_aside(store_path(tmp_path), "2026-11-25")
    files = [f"readings.damaged-2026-11-25{n}.sqlite" for n in ("", "-2", "-3")]
    assert aside(tmp_path) == sorted([*files, *(f"{file}-wal" for file in files)])
    assert were_set_aside(tmp_path) == [tmp_path / file for file in files]


@pytest.mark.parametrize("early", [True, False])
def test_storing_goes_on_in_a_new_file_and_it_is_told_once(tmp_path: Path, early: bool) -> None:
    store_path(tmp_path).write_bytes(b"nonsense " * 999)
    told: list[StoreReport] = []
    kept = keeping(tmp_path, told)
    if early:
        kept._take(Damaged("found by looking"))
    for n in range(3):
        kept._take(Record(n, "alarm", "print", {"n": n}))
        kept._commit()
    kept.finish()
    assert [report.aside for report in told] == [
        str(tmp_path / "readings.damaged-2026-09-21.sqlite")
    ]
    assert told[0].why == ("found by looking" if early else "file is not a database")
    reader = Reader(tmp_path)
    assert [event.body["n"] for event in reader.events()] == [0, 1, 2]
    reader.close()
    assert kept.failing == ""


def test_a_disk_that_damages_every_file_is_a_failing_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[StoreReport] = []
    kept = keeping(tmp_path, told)
    for n in range(4):
        store_path(tmp_path).write_bytes(b"nonsense " * 999)
        kept._writer.close()
        kept._take(Record(n, "alarm", "print", {"n": n}))
        kept._commit()
    assert len(aside(tmp_path)) == 1
    assert kept.failing
    assert [bool(report.aside) for report in told] == [True, False]
    store_path(tmp_path).unlink()
    kept._commit()
    assert kept.failing == ""
    kept.finish()


def test_much_of_a_damaged_file_can_still_be_read(tmp_path: Path) -> None:
    total = samples_of(store_of(tmp_path).parent)
    file = set_aside(store_path(tmp_path), "2026-11-25")
    file.rename(store_path(tmp_path))
    assert samples_of(tmp_path) == total


def cut(data: bytearray, dice: random.Random) -> bytes:
    return bytes(data[: dice.randrange(len(data))])


def nonsense(data: bytearray, dice: random.Random) -> bytes:
    return dice.randbytes(len(data))


def spot(data: bytearray, dice: random.Random) -> bytes:
    at = dice.randrange(len(data) - 600)
    data[at : at + 600] = dice.randbytes(600)
    return bytes(data)


@pytest.mark.parametrize("harm", [cut, nonsense, spot])
@pytest.mark.parametrize("side", ["-wal", "-shm"])
@pytest.mark.parametrize("seed", range(3))
def test_damage_beside_the_file_costs_what_stood_there_and_storing_goes_on(
    tmp_path: Path, side: str, harm: Any, seed: int
) -> None:
    """SQLite takes from the log what is whole, up to the first damage; its index is made anew."""
    store = writer(tmp_path / "left")
    fill(store, 600)
    shutil.copytree(tmp_path / "left", tmp_path / "found")
    file = beside(store_path(tmp_path / "found"), side)
    file.write_bytes(harm(bytearray(file.read_bytes()), random.Random(seed)))
    told: list[StoreReport] = []
    kept = keeping(tmp_path / "found", told)
    kept._take(Record(10**9, "alarm", "print", {}))
    kept._commit()
    kept.finish()
    assert (kept.failing, told) == ("", [])
    assert examine(store_path(tmp_path / "found")) == ""
    left = samples_of(tmp_path / "found")
    assert left == 1200 if side == "-shm" else left < 1200
    reader = Reader(tmp_path / "found")
    assert reader.events()[-1].t == 10**9
    reader.close()
