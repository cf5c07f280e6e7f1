"""The courier as one, on a fake clock, against real servers."""

import sqlite3
import threading
from pathlib import Path
from typing import Any

import pytest

from daemon.courier.beside import ALARM, HOUR, MINUTE, Phone, World
from receivers import Endpoint, Reply, eventually
from stored import OFFSET, database, fill, phone, points_in, points_of, record, settings, writer
from ventwright.courier.main import Courier
from ventwright.notifying.notifier import Notifier
from ventwright_drivers.clock import SystemClock


def test_an_alarm_is_told_with_its_numbers_and_readings_are_pushed(
    world: World, base: Endpoint, owner: Phone
) -> None:
    fill(world.store, 30)
    world.alarm("raised")
    world.run(MINUTE)
    world.alarm("worse", value=60.0)
    world.run(MINUTE)
    world.alarm("cleared")
    world.run(MINUTE)
    assert owner.titles == [
        "Workshop: particles rising (PM2.5 +23 µg/m³)",
        "Workshop: particles rising further (PM2.5 +60 µg/m³)",
        "Workshop: particles back to normal (peak PM2.5 +48 µg/m³)",
    ]
    assert "23.1 above this room's baseline of 4.3" in owner.bodies[0]
    assert points_in(base.lines()) == points_of(world.folder)


def test_nothing_is_told_again_after_a_restart(world: World, owner: Phone) -> None:
    world.alarm("raised")
    world.run(MINUTE)
    for _ in range(3):
        world.restart()
        world.run(10 * MINUTE)
    assert len(owner.titles) == 1


def test_three_days_without_network(world: World, base: Endpoint, owner: Phone) -> None:
    base.judge = lambda _body: Reply(503)
    owner.judge = lambda _body: Reply(503)
    world.pace = MINUTE
    for hour in range(72):
        fill(world.store, 5, start=world.clock.now(), seed=hour)
        if hour in (10, 60, 70):
            world.alarm("raised")
            world.run(HOUR // 2)
            world.alarm("cleared")
            world.run(HOUR // 2)
        else:
            world.run(HOUR)
    world.alarm("raised")
    world.pace = 1
    tries = len(owner.requests)
    base.judge = owner.judge = lambda _body: None
    world.run(15 * MINUTE)
    told = owner.titles[tries:]
    assert told == ["Workshop: particles rising (PM2.5 +23 µg/m³)", *told[1:]]
    assert sorted(told[1:]) == ["Workshop: database answers again"]
    assert "(and 4 earlier changes meanwhile)" in owner.bodies[tries]
    world.courier.pusher.save()  # type: ignore[union-attr]
    assert points_in(base.lines()) == points_of(world.folder)
    counts = world.courier.counts()
    assert counts["waiting"] == counts["messages_waiting"] == 0
    assert counts["given_up"] == 3


def test_a_raise_and_its_end_both_unheard_are_told_as_one(world: World, owner: Phone) -> None:
    owner.judge = lambda _body: Reply(503)
    world.alarm("raised")
    world.run(20 * MINUTE)
    world.alarm("cleared", since=world.clock.now() - 20 * MINUTE)
    world.run(MINUTE)
    tries = len(owner.requests)
    owner.judge = lambda _body: None
    world.run(10 * MINUTE)
    assert owner.titles[tries:] == ["Workshop: particles went up (peak PM2.5 +48 µg/m³), over"]
    assert "(20 min)" in owner.bodies[-1]
    assert "Sent late" not in owner.bodies[0]


def test_a_database_that_does_not_answer_is_told_once_and_once_when_back(
    world: World, base: Endpoint, owner: Phone
) -> None:
    base.judge = lambda _body: Reply(503)
    fill(world.store, 5)
    world.run(10 * MINUTE)
    assert owner.titles == []
    world.run(10 * MINUTE)
    assert len(owner.titles) == 1
    world.restart()
    world.run(5 * HOUR)
    assert owner.titles == ["Workshop: database does not answer"]
    base.judge = lambda _body: None
    world.run(10 * MINUTE)
    world.restart()
    world.run(10 * MINUTE)
    assert owner.titles[1:] == ["Workshop: database answers again"]


def test_a_keeper_that_gives_no_sign_is_told_once_and_once_when_back(
    world: World, owner: Phone
) -> None:
    world.run(10 * MINUTE)
    world.status = None
    world.run(2 * MINUTE)
    assert owner.titles == []
    world.run(HOUR)
    world.restart()
    world.run(HOUR)
    assert owner.titles == ["Workshop: the watch itself is down"]
    world.status = {}
    world.run(10 * MINUTE)
    assert owner.titles[1:] == ["Workshop: the watch is back"]


def test_the_keepers_own_record_of_its_return_is_enough(world: World, owner: Phone) -> None:
    world.status = None
    world.run(10 * MINUTE)
    world.status = {}
    world.happen("keeper", "keeper", change="started", missed=10 * MINUTE, why="it was killed")
    world.run(10 * MINUTE)
    assert owner.titles[1:] == ["Workshop: watching again after 10 min"]


def test_a_store_that_grows_is_a_sign_of_life(world: World, owner: Phone) -> None:
    world.status = None
    for n in range(20):
        fill(world.store, 1, start=1000 * n)
        world.run(MINUTE)
    assert owner.titles == []


def test_a_disk_that_refuses_is_told_once_though_the_record_comes_later(
    world: World, owner: Phone
) -> None:
    world.status = {"store": {"failing": "database or disk is full"}}
    world.run(10 * MINUTE)
    assert owner.titles == ["Workshop: readings cannot be stored"]
    world.status = {"store": {"failing": ""}}
    world.happen("store", "store", change="failing", why="database or disk is full", dropped=0)
    world.happen("store", "store", change="back", why="", dropped=7)
    world.run(10 * MINUTE)
    assert owner.titles[1:] == ["Workshop: readings are stored again"]
    assert owner.bodies[1] == "7 readings were lost."


def test_told_even_if_the_couriers_own_file_cannot_be_written(world: World, owner: Phone) -> None:
    world.run(MINUTE)
    for file in world.courier._files:
        if file._folder:
            file.db.execute("PRAGMA query_only = 1")
    world.status = {"store": {"failing": "database or disk is full"}}
    world.run(HOUR)
    assert owner.titles == ["Workshop: readings cannot be stored"]


def unstored(world: World, change: str, t: int) -> dict[str, Any]:
    body = {**ALARM, "since": t, "change": change}
    return {"boot": "boot-1", "t": t, "kind": "alarm", "subject": "print", "body": body}


def full(*records: dict[str, Any]) -> dict[str, Any]:
    store = {"failing": "database or disk is full", "unstored": list(records)}
    return {"store": store, "offset": OFFSET, "clock is right": True}


@pytest.mark.parametrize("refuses", [False, True], ids=["own file works", "own file refuses"])
def test_an_alarm_that_is_not_stored_is_told_and_not_again_once_it_is(
    world: World, owner: Phone, refuses: bool
) -> None:
    world.run(MINUTE)
    files = [file for file in world.courier._files if file._folder]
    for file in files:
        file.db.execute(f"PRAGMA query_only = {int(refuses)}")
    t = world.clock.now()
    world.status = full(unstored(world, "raised", t))
    world.run(5 * MINUTE)
    alarm = "Workshop: particles rising (PM2.5 +23 µg/m³)"
    assert sorted(owner.titles) == [alarm, "Workshop: readings cannot be stored"]
    if not refuses:
        world.restart()
        world.run(5 * MINUTE)
    for file in files if refuses else []:
        file.db.execute("PRAGMA query_only = 0")
    world.status = {"store": {"failing": ""}}
    record(world.store, "alarm", "print", t, **unstored(world, "raised", t)["body"])
    world.alarm("cleared")
    world.run(5 * MINUTE)
    assert owner.titles.count(alarm) == 1
    assert owner.titles.count("Workshop: particles back to normal (peak PM2.5 +48 µg/m³)") == 1


def test_a_stored_alarm_is_told_though_its_mark_cannot_be_moved_on_a_full_disk(
    world: World, owner: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(world.store, 1)
    world.run(MINUTE)
    courier, look = world.courier, world.courier.look
    monkeypatch.setattr(courier, "look", lambda: courier._guarded(look))
    files = [file for file in world.courier._files if file._folder]
    for file in files:
        file.db.execute("PRAGMA query_only = 1")
    world.status = full()
    world.alarm("raised")
    world.run(5 * MINUTE)
    assert owner.titles.count("Workshop: particles rising (PM2.5 +23 µg/m³)") == 1
    for file in files:
        file.db.execute("PRAGMA query_only = 0")
    world.run(5 * MINUTE)
    assert owner.titles.count("Workshop: particles rising (PM2.5 +23 µg/m³)") == 1


def test_a_first_start_tells_nothing_ancient_and_pushes_all(
    tmp_path: Path, base: Endpoint, owner: Phone
) -> None:
    folder = tmp_path / "store"
    old = writer(folder)
    fill(old, 60)
    record(old, "part", "bench", HOUR, change="lost")
    old.close()
    world = World(folder, base, owner)
    world.clock.sleep_until(40 * HOUR)
    world.happen("part", "door", change="lost", why="no answer")
    world.run(10 * MINUTE)
    assert owner.titles == ["Workshop: part door lost"]
    assert points_in(base.lines()) == points_of(folder)
    assert world.courier.counts()["passed_over"] == 1
    world.close()


def test_waits_for_a_store_that_is_not_there_yet(
    tmp_path: Path, base: Endpoint, owner: Phone
) -> None:
    world = World(tmp_path / "store", base, owner)
    world.run(HOUR)
    assert not (tmp_path / "store" / "readings.sqlite").exists()
    fill(world.store, 10)
    world.happen("part", "door", change="lost", why="no answer")
    world.run(MINUTE)
    assert points_in(base.lines()) == points_of(world.folder)
    assert owner.titles == ["Workshop: part door lost"]
    world.close()


def test_a_silent_phone_service_does_not_stop_pushing(
    tmp_path: Path, base: Endpoint, owner: Phone
) -> None:
    world = World(tmp_path / "store", base, owner, patience_s=0.5)
    owner.judge = lambda _body: Reply(silent=True)
    world.alarm("raised")
    before = threading.active_count()
    for n in range(12):
        fill(world.store, 10, start=20_000 * n, seed=n)
        world.run(5 * MINUTE)
    owner.released.set()
    assert points_in(base.lines()) == points_of(world.folder)
    assert threading.active_count() < before + 30  # those of the server in this process included
    world.close()


def test_a_hung_notifier_does_not_stop_the_pusher(
    tmp_path: Path, base: Endpoint, owner: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    hung = threading.Event()
    monkeypatch.setattr(Notifier, "step", lambda _self: int(hung.wait(60)))
    folder = tmp_path / "store"
    store = writer(folder)
    fill(store, 10)
    clock = SystemClock()
    made = Courier(
        settings(
            folder,
            database=database(base.url, push_every=10),
            phone=phone(folder, f"json://127.0.0.1:{owner.port}"),
        ),
        clock,
        {},
        boot="boot-1",
    )
    thread = threading.Thread(target=made.run, kwargs={"signals": False})
    thread.start()
    for n in range(5):
        fill(store, 10, start=20_000 * n + 20_000, seed=n)
        wanted = points_of(folder)
        eventually(lambda wanted=wanted: points_in(base.lines()) == wanted)
    hung.set()
    made.stop()
    thread.join()
    made.close()
    store.close()


def test_a_thread_that_dies_of_a_mistake_ends_the_process_with_status_1(
    tmp_path: Path, base: Endpoint, caplog: pytest.LogCaptureFixture
) -> None:
    made = Courier(
        settings(tmp_path, database=database(base.url)), SystemClock(), {}, boot="boot-1"
    )
    assert made.pusher is not None
    made.pusher.step = lambda: 1 // 0  # type: ignore[method-assign]
    assert made.run(signals=False) == 1
    assert "ZeroDivisionError" in caplog.text


def test_without_database_and_phone_nothing_is_loaded_or_kept(tmp_path: Path) -> None:
    world = World(tmp_path / "store", None, None)
    fill(world.store, 10)
    world.alarm("raised")
    world.run(MINUTE)
    counts = world.courier.counts()
    assert (counts["messages"], counts["pushed"], counts["waiting"]) == (0, 0, 20)
    world.close()


def test_drain_gives_up_after_its_patience(world: World, base: Endpoint) -> None:
    base.judge = lambda _body: Reply(503)
    fill(world.store, 10)
    start = world.clock.now()
    assert not world.courier.drain(5 * MINUTE)
    assert world.clock.now() == start + 5 * MINUTE
    base.judge = lambda _body: None
    assert world.courier.drain(5 * MINUTE)
    assert world.courier.counts()["waiting"] == 0


def test_drain_delivers_all_messages(world: World, owner: Phone) -> None:
    world.alarm("raised")
    world.happen("part", "door", change="lost")
    assert world.courier.drain()
    assert len(owner.titles) == 2


def test_events_and_their_mark_are_one_transaction(world: World) -> None:
    world.run(MINUTE)
    world.alarm("raised")
    world.happen("part", "door", change="lost")
    db = world.courier._intake._file.db
    db.execute("CREATE TRIGGER t BEFORE UPDATE ON progress BEGIN SELECT raise(ABORT, 'full'); END")
    with pytest.raises(sqlite3.Error, match="full"):
        world.courier.look()
    assert db.execute("SELECT count(*) FROM messages").fetchone() == (0,)
    db.execute("DROP TRIGGER t")
    world.courier.look()
    world.courier.look()
    assert db.execute("SELECT count(*) FROM messages").fetchone() == (2,)
