"""A filter that is due: told once, with the month, until the extractor is commissioned anew."""

import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from fakes import FakeClock
from rooms import extractor
from stored import owned, settings
from ventwright.courier.file import CourierFile
from ventwright.courier.filters import Filters
from ventwright.courier.teller import Teller
from ventwright.events import Record
from ventwright.notifying.ages import Ages
from ventwright.notifying.outbox import Outbox
from ventwright.notifying.post import Post
from ventwright.settings.model import DAY, HOUR, Phone
from ventwright.storage.reader import Reader
from ventwright.storage.writer import Writer

START = 1_790_000_000_000


def shares(count: int, a_day: float) -> list[float]:
    chance = random.Random(1)
    return [1 + a_day * n + chance.gauss(0, 0.03) for n in range(count)]


def use(folder: Path, found: Sequence[float], since: int) -> None:
    """Store a commissioning and a use a day after it."""
    writer = Writer(folder, "boot-1", START)
    writer.settle(START)
    writer.add(Record(since, "commissioned", "hood", {"channel": "bench.pm2_5"}))
    for n, share in enumerate(found):
        writer.add(
            Record(since + 1 + n * DAY, "clearance", "hood", {"change": "found", "share": share})
        )
    writer.commit()
    writer.close()


class World:
    """A courier's outbox beside a store."""

    def __init__(self, folder: Path, right: bool = True) -> None:
        chosen = replace(settings(folder), extractors={"hood": extractor()}, phone=Phone())
        self.file: CourierFile = owned(CourierFile(folder))
        self.ages = Ages(FakeClock(HOUR), "boot-1", lambda: START + 90 * DAY)
        post = Post(chosen, {"one": "one"}, self.ages)
        teller = Teller(self.file, owned(CourierFile(None)), post, self.ages)
        self.filters = Filters(chosen, teller, self.ages)
        if right:
            reader = Reader(folder)
            self.ages.refresh(reader, reader.boots())
            reader.close()

    @property
    def waiting(self) -> list[str]:
        return [f"{p.title}\n{p.body}" for p in Outbox(self.file).parcels("one")]


def test_a_filter_that_fills_up_is_told_once_over_restarts(tmp_path: Path) -> None:
    use(tmp_path, shares(60, -0.002), 0)
    world = World(tmp_path)
    world.filters.tell()
    world.filters.tell()
    (told,) = world.waiting
    assert "filter of hood due about" in told
    assert "over 60 uses it fell by 6." in told
    assert "Below 75 % something has to be done." in told
    world.file.close()
    again = World(tmp_path)
    again.filters.tell()
    assert len(again.waiting) == 1


def test_after_a_new_commissioning_it_may_be_told_again(tmp_path: Path) -> None:
    use(tmp_path, shares(60, -0.002), 0)
    world = World(tmp_path)
    world.filters.tell()
    use(tmp_path, shares(3, 0.0), 61 * DAY)
    world.filters.tell()
    assert world.filters._teller.flag("filter told hood") is False
    use(tmp_path, shares(60, -0.003), 70 * DAY)
    world.filters.tell()
    assert world.filters._teller.flag("filter told hood") is True


@pytest.mark.parametrize("a_day", [0.0, 0.002])
def test_what_does_not_fall_is_not_told(tmp_path: Path, a_day: float) -> None:
    use(tmp_path, shares(60, a_day), 0)
    world = World(tmp_path)
    world.filters.tell()
    assert world.waiting == []


def test_nothing_is_told_without_a_trusted_clock_or_a_store(tmp_path: Path) -> None:
    use(tmp_path, shares(60, -0.002), 0)
    unsure = World(tmp_path, right=False)
    unsure.filters.tell()
    assert unsure.waiting == []
    unsure.file.close()
    world = World(tmp_path)
    (tmp_path / "readings.sqlite").write_bytes(b"no database at all" * 100)
    world.filters.tell()
    assert world.waiting == []
