"""Files that earlier versions really wrote, in old/: taken over by both processes, nothing lost.

Each was dumped by the version named, with a message that no phone had taken yet, and readings that
no database had.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from daemon.courier.beside import MINUTE, Phone, World
from receivers import Endpoint
from stored import OFFSET, fill, points_in, points_of, samples_of
from ventwright.courier.accounts import counts
from ventwright.courier.file import VERSION, file_path
from ventwright.storage import schema
from ventwright.storage.reader import Reader

OLD = Path(__file__).with_name("old")


def lay(file: Path, version: str) -> None:
    file.parent.mkdir(exist_ok=True)
    with closing(sqlite3.connect(file)) as db:
        db.executescript((OLD / f"{file.stem}-{version}.sql").read_text())


def version_of(file: Path) -> int:
    with closing(sqlite3.connect(file)) as db:
        found: int = db.execute("PRAGMA user_version").fetchone()[0]
    return found


@pytest.mark.parametrize("first", ["courier", "keeper"])
@pytest.mark.parametrize("version", ["v1", "v2", "v3"])
def test_both_go_on_where_the_old_version_ended(
    tmp_path: Path, base: Endpoint, owner: Phone, version: str, first: str
) -> None:
    folder = tmp_path / "store"
    lay(schema.store_path(folder), "v1")
    lay(file_path(folder), version)
    assert version_of(file_path(folder)) == int(version[1:]) < VERSION
    assert samples_of(folder) == 36
    world = World(folder, base, owner)
    if first == "keeper":
        fill(world.store, 6, start=300_000)
    world.run(MINUTE)
    assert owner.titles == ["Workshop: part door is back"]
    world.alarm("cleared")
    world.run(MINUTE)
    assert world.courier.pusher
    world.courier.pusher.save()
    world.close()
    assert len(owner.titles) == 2
    assert version_of(file_path(folder)) == VERSION
    assert version_of(schema.store_path(folder)) == schema.VERSION
    told, total = counts(folder), samples_of(folder)
    assert told["pushed"] + told["empty"] == total
    assert (told["waiting"], told["messages_waiting"], told["delivered"]) == (0, 0, 4)
    assert (told["events_waiting"], told["events_pushed"]) == (0, 4)
    assert sum(line.startswith("room_air_events,") for line in base.lines()) == 4
    old = {point for point in points_of(folder) if point[3] < OFFSET + 100_000}
    assert points_of(folder).keys() - old == points_in(base.lines()).keys()
    with closing(Reader(folder)) as reader:
        assert reader.state("core") == {"t": 5}
        assert reader.identity == "boot-1"
