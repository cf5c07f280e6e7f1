"""A disk that is really unmounted under a store, and mounted again."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from disks import Disk
from stored import fill, record, writer
from ventwright.storage.reader import Reader


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    found = Disk(tmp_path)
    yield found
    found.end()


@pytest.mark.parametrize("below", ["", "stores/readings"])
def test_no_store_is_begun_in_the_place_of_a_disk_that_is_gone(disk: Disk, below: str) -> None:
    folder = disk.place / below
    store = writer(folder)
    fill(store, 5)
    disk.pull()
    store.close()  # as after any commit that failed
    for _ in range(2):
        with pytest.raises(OSError, match=f"the disk that {folder} was on is gone"):
            record(store, "mark", "while it is gone", 7)
    assert not [*disk.place.iterdir()]
    disk.plug()
    record(store, "mark", "when it is back", 9)
    reader = Reader(folder)
    marks = [event.subject for event in reader.events(0) if event.kind == "mark"]
    reader.close()
    store.close()
    disk.pull()
    assert marks == ["while it is gone", "while it is gone", "when it is back"]


def test_a_store_that_was_moved_to_another_disk_is_gone_on_with(disk: Disk) -> None:
    """A copy put where the disk was: a store is there, so it is written."""
    store = writer(disk.place)
    fill(store, 5)
    store.close()
    copied = disk.place.with_name("copy")
    shutil.copytree(disk.place, copied)
    disk.pull()
    shutil.copytree(copied, disk.place, dirs_exist_ok=True)
    record(store, "mark", "on the other disk", 9)
    store.close()


def test_a_new_process_begins_wherever_it_is_told_to(disk: Disk) -> None:
    """Nothing says that another disk belongs there; what is measured is stored."""
    disk.pull()
    fill(writer(disk.place), 5)
