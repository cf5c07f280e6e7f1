"""A card that turns read-only, for real: an ext4 image whose kernel driver finds an error in it.

Control goes on, what happens is told once, storing resumes by itself once the card is mended.
"""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.storage.test_reading import read_only
from faults.test_full_disk import Phone, failing
from house import House, changes, folder_in_memory, until
from ventwright.control.wire import spare
from ventwright.courier.accounts import counts
from ventwright.events import STOPPED

COURIER = ("-m", "ventwright.courier", "--config")


def do(*command: str | Path) -> None:
    subprocess.run(command, check=True, capture_output=True)


class Card:
    """A file system in a file, mounted."""

    def __init__(self, folder: Path) -> None:
        self.image, self.place, self.mounted = folder / "image", folder / "card", 0
        self.place.mkdir()
        self.image.write_bytes(bytes(8 << 20))
        do("mkfs.ext4", "-q", self.image)
        self.mount()

    def mount(self) -> None:
        do("mount", "-o", "loop,errors=remount-ro", self.image, self.place)
        self.mounted += 1

    def turn_read_only(self) -> None:
        """Have the kernel find an error, as it does on a dying card."""
        do("sync", "-f", self.place)
        command = ["findmnt", "-n", "-o", "SOURCE", str(self.place)]
        found = subprocess.run(command, capture_output=True, check=True, text=True)
        trigger = Path("/sys/fs/ext4") / Path(found.stdout.strip()).name / "trigger_fs_error"
        trigger.write_text("a test")
        with pytest.raises(OSError, match="Read-only"):
            (self.place / "new").touch()

    def mend(self) -> None:
        """Repair a copy and mount it above: the kernel keeps the old one while files are open."""
        mended = self.image.with_name("mended")
        mended.write_bytes(self.image.read_bytes())
        subprocess.run(["e2fsck", "-fy", mended], check=False, capture_output=True)
        self.image = mended
        self.mount()

    def remove(self) -> None:
        for _ in range(self.mounted):
            do("umount", "-l", self.place)


@pytest.fixture
def card(tmp_path: Path) -> Iterator[Card]:
    made = Card(tmp_path)
    yield made
    made.remove()


@pytest.fixture
def house(tmp_path: Path, card: Card) -> Iterator[House]:
    found = House(tmp_path, card.place / "store")
    yield found
    found.close()


@pytest.fixture
def owner(house: House) -> Iterator[Phone]:
    made = Phone()
    services = house.folder / "services"
    services.write_text(f"json://127.0.0.1:{made.port}/?cto=20&rto=20\n")
    with house.config.open("a") as config:
        config.write(f'\n[phone]\nservices_file = "{services}"\n')
    yield made
    made.close()


def begin_courier(house: House, card: Card, before: str) -> None:
    """Turn the card read-only while a courier runs, or before one starts on it."""
    file = house.store / "courier.sqlite"
    if before == "runs":
        house.run(*COURIER, str(house.config))
        until(lambda: "messages" in counts(house.store))
    else:
        file.write_bytes(b"nonsense" * 400)
        file.chmod(0o640)
    card.turn_read_only()
    if before != "runs":
        house.run(*COURIER, str(house.config))


@pytest.mark.parametrize("before", ["runs", "damaged"])
def test_control_and_telling_go_on_and_storing_resumes(
    house: House, card: Card, owner: Phone, before: str
) -> None:
    keeper = house.keeper()
    begin_courier(house, card, before)
    for on in (True, False):
        house.hold(on)
        house.reaches(on)
    until(lambda: failing(house))
    house.air["bench"] = 100
    until(lambda: owner.got("particles too high"), house.output())
    until(lambda: owner.got("cannot be stored"), house.output())
    card.mend()
    until(lambda: changes(house.store, "store") == ["failing", "back"])
    assert "raised" in changes(house.store, "alarm")
    assert keeper.poll() is None
    assert len(owner.got("particles too high")) == len(owner.got("cannot be stored")) == 1


@pytest.fixture
def in_memory(tmp_path: Path) -> Iterator[Path]:
    with folder_in_memory():
        yield spare(tmp_path / "store" / "keeper.socket")


def test_a_keeper_that_starts_on_a_read_only_disk_knows_the_past_and_takes_requests(
    tmp_path: Path, in_memory: Path
) -> None:
    house = House(tmp_path)
    try:
        first = house.keeper()
        first.terminate()
        first.wait()
        with read_only(house.store):
            house.keeper()
            assert in_memory.exists()
            assert failing(house)
            house.hold(True)
            house.reaches(True)
            told = house.command("status")
            assert "NOT storing" in told.stdout, told
            found = house.status()
            house.processes[-1].terminate()
            house.processes[-1].wait()
        assert found
        assert found["store"]["unstored"][0]["body"]["why"] == STOPPED
        assert not in_memory.exists()
    finally:
        house.close()
