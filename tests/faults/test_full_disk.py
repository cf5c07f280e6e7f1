"""A real full disk, 400 KB of tmpfs: control goes on, one word each way, storing resumes."""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import pytest

from house import House, changes, until
from receivers import Endpoint


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    disk = tmp_path / "disk"
    disk.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", str(disk)]
    subprocess.run(command, check=True)
    found = House(tmp_path, disk / "store")
    yield found
    found.close()
    subprocess.run(["umount", str(disk)], check=True)


def pour(ballast: IO[bytes], size: int) -> None:
    while True:
        ballast.write(b"x" * size)


def fill(file: Path) -> None:
    """Write until nothing more goes in."""
    with file.open("wb", buffering=0) as ballast:
        for size in (4096, 1):
            with pytest.raises(OSError, match="No space left"):
                pour(ballast, size)


def failing(house: House) -> str:
    found = house.status()
    assert found is not None
    return str(found["store"]["failing"])


def test_control_goes_on_and_storing_resumes_by_itself(house: House) -> None:
    house.keeper()
    ballast = house.store.parent / "ballast"
    fill(ballast)
    for on in (True, False, True):
        house.hold(on)
        house.reaches(on)
    until(lambda: failing(house))
    assert "full" in failing(house)
    house.air["bench"] = 100
    until(lambda: house.told("alarms", "print") == "unacknowledged")
    ballast.unlink()
    until(lambda: not failing(house))
    until(lambda: changes(house.store, "store") == ["failing", "back"])
    assert "raised" in changes(house.store, "alarm")
    assert house.processes[0].poll() is None


def test_it_starts_on_a_full_disk_controls_and_stores_later(house: House) -> None:
    house.store.mkdir()
    ballast = house.store.parent / "ballast"
    fill(ballast)
    house.keeper()
    until(lambda: failing(house))
    house.air["bench"] = 100
    house.reaches(True)
    ballast.unlink()
    until(lambda: not failing(house))
    until(lambda: changes(house.store, "store") == ["failing", "back"])
    until(lambda: "raised" in changes(house.store, "alarm"))
    assert changes(house.store, "keeper") == ["started"]


class Phone(Endpoint):
    """Keeps no points: what it gets are messages."""

    def keep(self, body: bytes) -> None:
        pass

    def got(self, words: str) -> list[str]:
        titles = [json.loads(request.body)["title"] for request in self.requests]
        return [title for title in titles if words in title]


@pytest.fixture
def owner() -> Iterator[Phone]:
    made = Phone()
    yield made
    made.close()


@pytest.mark.parametrize("early", [True, False], ids=["runs before", "starts on the full disk"])
def test_an_alarm_is_told_while_the_disk_is_full_and_once_in_all(
    house: House, owner: Phone, early: bool
) -> None:
    services = house.folder / "services"
    services.write_text(f"json://127.0.0.1:{owner.port}/?cto=20&rto=20\n")
    with house.config.open("a") as config:
        config.write(f'\n[phone]\nservices_file = "{services}"\n')
    house.keeper()
    courier = ("-m", "ventwright.courier", "--config", str(house.config))
    if early:
        house.run(*courier)
        until(lambda: (house.store / "courier.sqlite").exists())
    ballast = house.store.parent / "ballast"
    fill(ballast)
    until(lambda: failing(house))
    if not early:
        house.run(*courier)
    house.air["bench"] = 100
    until(lambda: owner.got("particles too high"), house.output())
    assert failing(house)
    assert "raised" not in changes(house.store, "alarm")
    ballast.unlink()
    house.air["bench"] = 5
    until(lambda: owner.got("back to normal"), house.output())
    until(lambda: "cleared" in changes(house.store, "alarm"))
    assert len(owner.got("particles too high")) == len(owner.got("back to normal")) == 1
