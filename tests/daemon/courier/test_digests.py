"""The digest: told once, in the right words, at the right time, and without numpy."""

import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from apscheduler.triggers.cron import CronTrigger

from aired import HOUR
from daemon.reporting.weeks import FRIDAY, THURSDAY, WEDNESDAY, fill
from fakes import FakeClock
from stored import owned
from ventwright.courier.digests import Digests
from ventwright.courier.file import CourierFile
from ventwright.courier.main import Courier
from ventwright.courier.teller import Teller
from ventwright.notifying.ages import Ages
from ventwright.notifying.outbox import Outbox
from ventwright.notifying.post import Post
from ventwright.settings.model import Phone, Reporting, Settings
from ventwright.storage.reader import Reader

SUNDAY = {"hour": "18-23", "minute": 0, "day_of_week": 6}
MONDAY = {"hour": "7-23", "minute": 0, "day_of_week": 0}


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Settings]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "UTC")
        time.tzset()
        yield fill(tmp_path_factory.mktemp("week"))
    time.tzset()


class World:
    """A courier's outbox and its clock, at a time of the wall clock."""

    def __init__(self, settings: Settings, folder: Path, report: Reporting, now: int) -> None:
        self.settings = replace(settings, report=report, phone=Phone())
        self.file: CourierFile = owned(CourierFile(folder))
        self.ages = Ages(FakeClock(HOUR), "boot-1", lambda: now)
        post = Post(self.settings, {"one": "one"}, self.ages)
        teller = Teller(self.file, owned(CourierFile(None)), post, self.ages)
        self.digests = Digests(self.settings, teller, self.ages)
        reader = Reader(settings.store.folder)
        self.ages.refresh(reader, reader.boots())
        reader.close()

    @property
    def waiting(self) -> list[str]:
        return [f"{p.title}\n{p.body}" for p in Outbox(self.file).parcels("one")]


def test_it_is_told_once_over_restarts(settings: Settings, tmp_path: Path) -> None:
    report = Reporting(digest="day")
    world = World(settings, tmp_path, report, THURSDAY + 18 * HOUR)
    assert world.digests.tell()
    assert not world.digests.tell()
    (told,) = world.waiting
    assert told.startswith("class room <i>: Thursday, 24 September 2026\nThe worst hour had 100")
    world.file.close()
    again = World(settings, tmp_path, report, THURSDAY + 19 * HOUR)
    assert not again.digests.tell()
    assert World(settings, tmp_path, report, FRIDAY + 18 * HOUR).digests.tell()


@pytest.mark.parametrize(
    ("digest", "at", "now", "file", "times"),
    [
        ("day", "18:00", THURSDAY + 18 * HOUR, "day-2026-09-24", {"hour": "18-23", "minute": 0}),
        ("day", "07:30", THURSDAY + 8 * HOUR, "day-2026-09-23", {"hour": "7-23", "minute": 30}),
        ("week", "18:00", FRIDAY, "week-2026-09-21", SUNDAY),
        ("week", "07:00", WEDNESDAY, "week-2026-09-14", MONDAY),
    ],
)
def test_what_it_is_of_and_when_it_is_due(
    settings: Settings,
    tmp_path: Path,
    digest: str,
    at: str,
    now: int,
    file: str,
    times: dict[str, Any],
) -> None:
    report = Reporting(digest=digest, digest_at=at)  # type: ignore[arg-type]
    world = World(settings, tmp_path, report, now)
    assert world.digests.period(now).file == file
    assert world.digests.times == times


def test_nobody_who_wants_none_is_told(settings: Settings, tmp_path: Path) -> None:
    world = World(settings, tmp_path, Reporting(digest="none"), FRIDAY)
    assert not world.digests.wanted
    assert not world.digests.tell()
    assert world.waiting == []


def test_while_the_clock_may_be_wrong_nothing_is_told(settings: Settings, tmp_path: Path) -> None:
    world = World(settings, tmp_path, Reporting(digest="day"), FRIDAY)
    world.digests._ages = Ages(FakeClock(HOUR), "boot-1", lambda: FRIDAY)
    assert not world.digests.tell()


def test_a_store_that_cannot_be_read_costs_the_digest_only(
    settings: Settings, tmp_path: Path
) -> None:
    world = World(settings, tmp_path, Reporting(digest="day"), FRIDAY)
    store = replace(settings.store, folder=tmp_path / "nowhere")
    world.digests._settings = replace(world.settings, store=store)
    assert not world.digests.tell()


def test_it_needs_no_numbers_library() -> None:
    code = (
        "import sys, ventwright.courier.digests\n"
        "print({'numpy', 'scipy', 'matplotlib'} & {name.split('.')[0] for name in sys.modules})"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"


def test_the_next_time_is_at_the_hour_of_the_digest() -> None:
    """By apscheduler itself: from Thursday noon it is Sunday 18:00, an hour later once that was."""
    trigger = CronTrigger(**SUNDAY, timezone=UTC)
    noon = datetime.fromtimestamp(THURSDAY / 1000 + 12 * 3600, UTC)
    first = trigger.get_next_fire_time(None, noon)
    assert first == datetime(2026, 9, 27, 18, tzinfo=UTC)
    assert trigger.get_next_fire_time(first, first) == datetime(2026, 9, 27, 19, tzinfo=UTC)


@pytest.mark.parametrize(("digest", "services", "planned"), [
    ("week", True, True), ("none", True, False), ("day", False, False)
])  # fmt: skip
def test_a_courier_plans_digests_for_those_who_want_them(
    settings: Settings, tmp_path: Path, digest: str, services: bool, planned: bool
) -> None:
    file = tmp_path / "services"
    file.write_text("json://127.0.0.1:9\n" if services else "")
    phone = Phone(file) if services else None
    report = Reporting(digest=digest)  # type: ignore[arg-type]
    store = replace(settings.store, folder=tmp_path)
    whole = replace(settings, report=report, phone=phone, store=store)
    courier = Courier(whole, FakeClock(HOUR), {}, boot="boot-1")
    assert ("digest" in courier.chores.names) == planned
    courier.close()
