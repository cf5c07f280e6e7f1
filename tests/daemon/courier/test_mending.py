"""A courier's file that cannot be used is set aside and said so: telling and pushing go on."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from daemon.courier.beside import HOUR, MINUTE, Phone, World
from fakes import FakeClock
from receivers import Endpoint
from stored import fill, points_in, points_of, samples_of, settings
from ventwright.courier.file import VERSION, file_path
from ventwright.courier.main import Courier
from ventwright.courier.mending import MustEndError, mend, unusable
from ventwright.storage.copying import copy_store
from ventwright.storage.schema import beside, store_path

NOTES = "Workshop: notes of what was told begun anew"


def nonsense(folder: Path) -> None:
    file_path(folder).write_bytes(b"nonsense " * 999)


def torn(folder: Path) -> None:
    """Damage all pages but the first."""
    size = file_path(folder).stat().st_size
    with file_path(folder).open("r+b") as file:
        file.seek(1024)
        file.write(b"\xff" * (size - 1024))


def cut_off(folder: Path) -> None:
    with file_path(folder).open("r+b") as file:
        file.truncate(3 * 1024)


def newer(folder: Path) -> None:
    with closing(sqlite3.connect(file_path(folder))) as db:
        db.execute(f"PRAGMA user_version = {VERSION + 1}")


def aside(folder: Path) -> list[str]:
    return [file.name for file in folder.glob("courier.damaged-*.sqlite")]


@pytest.mark.parametrize(
    ("harm", "why"),
    [
        (nonsense, "file is not a database"),
        (torn, "malformed"),
        (cut_off, ""),
        (newer, "newer version of this program"),
    ],
)
def test_telling_and_pushing_go_on_and_it_is_told_once(
    world: World, base: Endpoint, owner: Phone, harm: Any, why: str
) -> None:
    fill(world.store, 60)
    world.alarm("raised")
    world.run(MINUTE)
    world.courier.close()
    harm(world.folder)
    for _ in range(2):
        world.restart()
        world.alarm("cleared")
        fill(world.store, 60, start=world.clock.now())
        world.run(MINUTE)
    assert aside(world.folder) == ["courier.damaged-2026-09-21.sqlite"]
    assert owner.titles.count(NOTES) == 1
    (body,) = [body for body in owner.bodies if "a new one was begun" in body]
    assert why in body
    assert "courier.damaged-2026-09-21.sqlite" in body
    assert "back to normal" in owner.titles[-1]
    assert len(owner.titles) == 4
    assert points_in(base.lines()) == points_of(world.folder)
    assert unusable(world.folder) == ""


def test_a_courier_whose_file_is_damaged_while_it_runs_ends_to_be_started_anew(
    world: World, owner: Phone
) -> None:
    world.run(MINUTE)
    for file in world.courier._files:
        file.close()
    nonsense(world.folder)
    world.alarm("raised")
    assert world.courier._guarded(world.courier.look) > 0
    with pytest.raises(MustEndError, match=r"courier.sqlite cannot be used: file is not"):
        world.courier._guarded(world.courier.look)
    world.restart()
    world.run(MINUTE)
    assert len(owner.titles) == 2


def test_damage_that_no_error_tells_of_is_found_within_an_hour(world: World) -> None:
    world.run(MINUTE)
    for file in world.courier._files:
        file.close()
    newer(world.folder)
    world.run(HOUR // 2)
    with pytest.raises(MustEndError, match="newer version"):
        world.run(HOUR)


def test_it_ends_with_a_sentence_and_without_a_traceback(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    courier = Courier(settings(tmp_path), FakeClock(HOUR), {}, boot="boot-1", wall=lambda: 0)
    nonsense(tmp_path)
    courier._file_due = 0
    assert courier.run(signals=False) == 1
    assert "ends, to be started anew: its file" in caplog.text
    assert "Traceback" not in caplog.text


def test_a_missing_empty_or_sound_file_stays(tmp_path: Path) -> None:
    assert mend(tmp_path, 0) is None
    file_path(tmp_path).touch()
    assert mend(tmp_path, 0) is None
    assert file_path(tmp_path).exists()


def test_a_disk_that_refuses_the_new_name_ends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nonsense(tmp_path)

    def refuse(*_: Any) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "rename", refuse)
    courier = Courier(settings(tmp_path), FakeClock(HOUR), {}, boot="boot-1", wall=lambda: 0)
    for _ in range(3):
        courier._guarded(courier.look)
    assert aside(tmp_path) == []
    courier.close()


def test_where_an_older_copy_of_the_store_is_put_back_what_is_new_is_told_and_pushed(
    world: World, base: Endpoint, owner: Phone, tmp_path: Path
) -> None:
    fill(world.store, 60)
    world.run(MINUTE)
    copy_store(world.folder, tmp_path / "copy")
    for n in range(5):
        world.happen("part", f"part-{n}", change="lost")
    fill(world.store, 300, start=world.clock.now())
    world.run(MINUTE)
    assert len(owner.titles) == 5
    world.store.close()
    for side in ("", "-wal", "-shm"):
        beside(store_path(world.folder), side).unlink(missing_ok=True)
    store_path(tmp_path / "copy").rename(store_path(world.folder))
    world.alarm("raised")
    fill(world.store, 60, start=world.clock.now())
    world.run(10 * MINUTE)
    assert len(owner.titles) == 6
    assert points_of(world.folder).items() <= points_in(base.lines()).items()
    told = world.courier.counts()
    parts = ("pushed", "empty", "refused", "dropped", "waiting")
    assert sum(told[part] for part in parts) == samples_of(world.folder)
    assert told["waiting"] == 0
