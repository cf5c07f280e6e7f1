"""A disk that is full, then really unmounted under keeper and courier, and plugged in again."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from disks import Disk
from faults.test_full_disk import Phone, failing, fill
from house import House, changes, folder_in_memory, until


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    found = Disk(tmp_path)
    yield found
    found.end()


@pytest.fixture
def house(tmp_path: Path, disk: Disk) -> Iterator[House]:
    with folder_in_memory():
        found = House(tmp_path, disk.place / "store")
        yield found
        found.close()
        disk.pull()


@pytest.fixture
def owner(house: House) -> Iterator[Phone]:
    made = Phone()
    services = house.folder / "services"
    services.write_text(f"json://127.0.0.1:{made.port}/?cto=20&rto=20\n")
    with house.config.open("a") as config:
        config.write(f'\n[phone]\nservices_file = "{services}"\n')
    yield made
    made.close()


def test_control_and_telling_go_on_and_nothing_is_begun_in_the_empty_place(
    house: House, disk: Disk, owner: Phone
) -> None:
    keeper = house.keeper()
    house.run("-m", "ventwright.courier", "--config", str(house.config))
    until((house.store / "courier.sqlite").exists)
    ballast = disk.whole / "ballast"
    fill(ballast)
    until(lambda: failing(house))
    disk.pull()
    until(lambda: "is gone" in failing(house))
    house.air["bench"] = 100
    house.reaches(True)
    until(lambda: owner.got("particles too high"), house.output())
    until(lambda: owner.got("cannot be stored"), house.output())
    assert not [*disk.place.iterdir()]
    ballast.unlink()
    disk.plug()
    until(lambda: changes(house.store, "store") == ["failing", "back"])
    until(lambda: "raised" in changes(house.store, "alarm"))
    assert keeper.poll() is None
    assert len(owner.got("particles too high")) == len(owner.got("cannot be stored")) == 1
