"""What fails in the courier is in its file and in `ventwright status` until it works again."""

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from daemon.courier.beside import HOUR, MINUTE, Phone, World
from fakes import FakeClock
from receivers import Endpoint, Reply
from stored import OFFSET, fill, phone, points_in, points_of, settings
from ventwright.commands.status import courier_lines
from ventwright.courier.accounts import counts
from ventwright.courier.file import CourierFile
from ventwright.courier.troubles import KEPT_AS, Troubles


def said(world: World) -> str:
    return "\n".join(courier_lines(world.settings, counts(world.folder)))


def test_a_phone_and_a_database_that_fail_are_shown_since_when_until_they_work(
    world: World, base: Endpoint, owner: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("time.localtime", __import__("time").gmtime)
    base.judge = owner.judge = lambda _body: Reply(503)
    fill(world.store, 5)
    world.alarm("raised")
    world.run(10 * MINUTE)
    world.restart()
    world.run(HOUR)
    service = "phone: notifications by service 1 json failing since 21 September 15:13: failure"
    bucket = "database: bucket air failing since 21 September 15:13: it takes nothing: 503: Service"
    assert service in said(world)
    assert bucket in said(world)
    base.judge = owner.judge = lambda _body: None
    world.run(10 * MINUTE)
    assert "since" not in said(world)


def test_a_database_that_refuses_events_only_is_called_so_and_gets_all_readings(
    world: World, base: Endpoint, owner: Phone
) -> None:
    base.judge = lambda body: Reply(403) if b"_events," in body else None
    fill(world.store, 5)
    world.happen("part", "bench", change="lost", why="gone")
    world.run(HOUR)
    fill(world.store, 5, start=world.clock.now())
    world.run(10 * MINUTE)
    assert points_in(base.lines()) == points_of(world.folder)
    assert "bucket air failing since" in said(world)
    assert "it takes readings, but no events: 403" in said(world)
    assert "takes nothing" not in said(world)
    assert "1 waiting, 0 refused" in said(world)
    assert owner.titles == ["Workshop: part bench lost", "Workshop: database refuses events"]
    base.judge = lambda _body: None
    world.restart()
    world.run(HOUR)
    assert owner.titles[2:] == ["Workshop: database takes events again"]
    assert "since" not in said(world)


def test_readings_that_wait_do_not_wait_for_events_that_are_refused(
    world: World, base: Endpoint
) -> None:
    base.judge = lambda body: Reply(403) if b"_events," in body else None
    world.happen("part", "bench", change="lost", why="gone")
    for n in range(250):
        fill(world.store, 1, start=HOUR + n * 1000)
    assert world.courier.pusher
    waits = [world.courier.pusher.step() for _ in range(6)]
    assert waits[:4] == [0, 0, 0, 0]
    assert waits[5] > 0


class Ages:
    """A wall clock, right or not."""

    def __init__(self, right: bool = True) -> None:
        self.right = right
        self.clock = FakeClock()

    def wall(self) -> int | None:
        return OFFSET if self.right else None


@pytest.fixture
def troubles(tmp_path: Path) -> Iterator[Callable[..., Troubles]]:
    """Make one after another, as couriers that are started anew."""
    files: list[CourierFile] = []

    def make(ages: Ages | None = None) -> Troubles:
        files.append(CourierFile(tmp_path))
        return Troubles(files[-1], ages or Ages())  # type: ignore[arg-type]

    yield make
    for file in files:
        file.close()


def found(folder: Path) -> Any:
    file = CourierFile(folder)
    try:
        return file.state(KEPT_AS)
    finally:
        file.close()


def test_chores_that_fail_are_told_and_those_that_are_gone_forgotten(
    tmp_path: Path, troubles: Callable[..., Troubles]
) -> None:
    made = troubles(Ages(right=False))
    made.step({"chores": {"digest": "ValueError: no such day"}}, {"chores": {"digest", "filters"}})
    configured = settings(tmp_path, phone=phone(tmp_path))
    told = list(courier_lines(configured, {"troubles": found(tmp_path)}))
    assert told[-1] == (
        "chore digest: not done since before the clock was known to be right: "
        "ValueError: no such day"
    )
    again = troubles()
    again.step({"chores": {"filters": ""}}, {"chores": {"digest", "filters"}})
    assert list(found(tmp_path)["chores"]) == ["digest"]
    again.step({"chores": {}}, {"chores": {"filters"}})
    assert found(tmp_path) == {"chores": {}}


def test_a_reason_that_changes_began_when_the_first_did(
    tmp_path: Path, troubles: Callable[..., Troubles]
) -> None:
    ages = Ages()
    made = troubles(ages)
    made.step({"chores": {"digest": "one"}}, {"chores": {"digest"}})
    ages.right = False
    made.step({"chores": {"digest": "other"}}, {"chores": {"digest"}})
    assert found(tmp_path)["chores"] == {"digest": {"since": OFFSET, "why": "other"}}


def test_what_cannot_be_noted_now_is_noted_later(
    tmp_path: Path, troubles: Callable[..., Troubles], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = troubles()
    latest, known = {"chores": {"digest": "one"}}, {"chores": {"digest"}}
    with monkeypatch.context() as patch:
        full = sqlite3.OperationalError("database or disk is full")
        patch.setattr(CourierFile, "transaction", lambda _self: (_ for _ in ()).throw(full))
        made.step(latest, known)
    assert found(tmp_path) is None
    made.step(latest, known)
    assert list(found(tmp_path)["chores"]) == ["digest"]


def test_nothing_is_written_while_nothing_changes(
    tmp_path: Path, troubles: Callable[..., Troubles]
) -> None:
    made = troubles()
    for _ in range(3):
        made.step({"chores": {"digest": "one"}}, {"chores": {"digest"}})
    file = sqlite3.connect(tmp_path / "courier.sqlite")
    before = file.execute("PRAGMA data_version").fetchone()
    made.step({"chores": {"digest": "one"}}, {"chores": {"digest"}})
    assert file.execute("PRAGMA data_version").fetchone() == before
    file.close()
