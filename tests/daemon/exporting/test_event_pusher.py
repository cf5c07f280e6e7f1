"""Pushing events against a real, scripted HTTP server and the real database.

Oracle: what the server holds is one line for every event that was stored.
"""

import random
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from daemon.courier.beside import ALARM
from fakes import FakeClock
from receivers import Endpoint, Reply, endpoint, eventually, metrics
from stored import OFFSET, database, fill, points_in, points_of, record, settings, writer
from ventwright.courier.accounts import counts
from ventwright.courier.file import CourierFile
from ventwright.courier.main import Courier
from ventwright.events import Record
from ventwright.exporting.labels import BUILT_MS
from ventwright.storage.reader import Reader
from ventwright.storage.writer import Writer

HOUR = 3_600_000
EVENTS = ("events_pushed", "events_refused", "events_dropped", "events_gone", "events_waiting")


@pytest.fixture
def server() -> Iterator[Endpoint]:
    with endpoint() as made:
        yield made


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "store"


def courier(folder: Path, url: str, **given: Any) -> Courier:
    configured = settings(folder, database=database(url, **given))
    return Courier(configured, FakeClock(10 * HOUR), {}, boot="boot-1")


def pushed(folder: Path, server: Endpoint, **given: Any) -> dict[str, int]:
    made = courier(folder, server.url, **given)
    assert made.drain(100 * HOUR)
    made.close()
    return accounts(folder)


def accounts(folder: Path) -> dict[str, int]:
    """Count events, and see that none is missing."""
    found = counts(folder)
    with closing(Reader(folder)) as reader:
        assert sum(found[name] for name in EVENTS) == reader.newest_event()
    return {name.removeprefix("events_"): found[name] for name in EVENTS if found[name]}


def happen(store: Writer, number: int, start: int = 0, seed: int = 1) -> None:
    """Store events of few kinds and subjects, often several in one ms, some of them alike."""
    dice, t = random.Random(seed), start
    for n in range(number):
        t += dice.choice([0, 0, 1, 5000])
        kind = dice.choice(["alarm", "extractor", "part", "request"])
        store.add(Record(t, kind, dice.choice(["a", "b c"]), {"change": "back", "n": n + start}))
    store.commit()


def wanted(folder: Path) -> Counter[tuple[str, int, int]]:
    with closing(Reader(folder)) as reader:
        boots = reader.boots()
        return Counter(
            (e.kind, e.t + boots[e.boot].offset, e.body.get("n", 0)) for e in reader.events()
        )


def held(server: Endpoint) -> Counter[tuple[str, int, int]]:
    found: Counter[tuple[str, int, int]] = Counter()
    for (series, t), fields in server.points.items():
        tags = dict(tag.split("=", 1) for tag in series.split(",")[1:])
        if series.startswith("room_air_events,"):
            found[tags["kind"], int(t), int(fields.get("n", "0"))] += 1
    return found


@pytest.mark.parametrize("batch", [1, 2, 7, 1000])
def test_all_events_arrive_beside_the_readings(folder: Path, server: Endpoint, batch: int) -> None:
    store = writer(folder)
    fill(store, 30)
    happen(store, 200)
    store.close()
    assert pushed(folder, server, batch=batch) == {"pushed": 200}
    assert held(server) == wanted(folder)
    assert points_in(server.lines()) == points_of(folder)
    assert max(len(r.body.splitlines()) for r in server.requests) <= batch


def test_a_restart_in_the_middle_changes_no_line(folder: Path, server: Endpoint) -> None:
    store = writer(folder)
    happen(store, 120)
    store.close()
    for steps in range(5):
        made = courier(folder, server.url, batch=3)
        assert made.pusher is not None
        for _ in range(steps):
            made.pusher.step()
        if steps % 2:
            made.pusher.save()
        made.close()
    assert pushed(folder, server, batch=5) == {"pushed": 120}
    assert held(server) == wanted(folder)


def test_alike_in_one_ms_are_told_apart_over_batches_far_from_the_first(
    folder: Path, server: Endpoint
) -> None:
    store = writer(folder)
    for n in range(602):
        store.add(Record(min(n, 600), "alarm", "print", {"n": n}))
    store.commit()
    store.close()
    assert pushed(folder, server, batch=601) == {"pushed": 602}
    assert held(server) == wanted(folder)


def test_an_outage_loses_no_event(folder: Path, server: Endpoint) -> None:
    store = writer(folder)
    happen(store, 50)
    server.judge = lambda _body: Reply(503)
    made = courier(folder, server.url)
    assert made.pusher is not None
    assert [made.pusher.step(), made.pusher.step()] == [1000, 2000]
    happen(store, 50, start=HOUR, seed=2)
    store.close()
    server.script = [Reply(applied=True, cut=True)]
    server.judge = lambda _body: None
    assert made.drain(HOUR)
    made.close()
    assert accounts(folder) == {"pushed": 100}
    assert held(server) == wanted(folder)


def test_a_database_that_takes_no_events_still_gets_readings_and_their_mark_is_saved(
    folder: Path, server: Endpoint
) -> None:
    store = writer(folder)
    fill(store, 30)
    happen(store, 3)
    server.judge = lambda body: Reply(403) if b"_events," in body else None
    made = courier(folder, server.url)
    assert made.pusher is not None
    assert [made.pusher.step(), made.pusher.step()] == [1000, 2000]
    assert counts(folder)["waiting"] == 0
    fill(store, 30, start=100_000)
    store.close()
    assert made.pusher.step() == 4000
    made.close()
    assert points_in(server.lines()) == points_of(folder)
    assert accounts(folder) == {"waiting": 3}


@pytest.mark.parametrize("status", [400, 422])
def test_a_refused_event_is_set_aside_alone(folder: Path, server: Endpoint, status: int) -> None:
    store = writer(folder)
    happen(store, 60)
    store.close()
    server.judge = lambda body: Reply(status, body="no") if b"n=17" in body else None
    assert pushed(folder, server) == {"pushed": 59, "refused": 1}
    (aside,) = counts(folder)["latest_refused"]
    assert (aside["event"], aside["block"], aside["samples"]) == (18, 0, 0)
    assert "n=17" in aside["line"]
    assert str(status) in aside["reason"]
    assert sum((wanted(folder) - held(server)).values()) == 1
    assert counts(folder)["refused"] == 0


def test_events_of_a_boot_whose_labels_may_change_are_held_back(
    folder: Path, server: Endpoint
) -> None:
    store = writer(folder, settled=False)
    happen(store, 10)
    store.close()
    assert pushed(folder, server) == {"waiting": 10}
    assert server.requests == []
    again = writer(folder, offset=OFFSET + 5 * HOUR)
    happen(again, 1, start=HOUR)
    again.close()
    assert pushed(folder, server) == {"pushed": 11}
    assert held(server) == wanted(folder)
    assert min(t for _, t, _ in held(server)) >= OFFSET + 5 * HOUR


def test_events_from_before_the_program_was_built_are_dropped(
    folder: Path, server: Endpoint
) -> None:
    store = writer(folder, offset=BUILT_MS - 30_000)
    for n, t in enumerate((0, 29_999, 30_000, 40_000)):
        record(store, "alarm", "print", t, n=n)
    store.close()
    assert pushed(folder, server) == {"pushed": 2, "dropped": 2}
    assert {t for _, t, _ in held(server)} == {BUILT_MS, BUILT_MS + 10_000}
    assert "before 2026-01-01" in counts(folder)["latest_refused"][0]["reason"]


@pytest.mark.parametrize("before", [0, 5])
def test_events_that_were_pruned_before_they_were_pushed_are_counted(
    folder: Path, server: Endpoint, before: int
) -> None:
    store = writer(folder)
    happen(store, 20)
    store.close()
    with closing(Reader(folder)) as reader, closing(CourierFile(folder)) as file:
        row = (reader.identity, before, before)
        file.db.execute("INSERT INTO pushed_events VALUES (?, ?, ?, 0, 0, 0)", row)
    with closing(sqlite3.connect(folder / "readings.sqlite")) as db:
        db.execute("DELETE FROM events WHERE id <= 9")
        db.commit()
    assert pushed(folder, server) == {"pushed": 11 + before, "gone": 9 - before}


def test_an_older_copy_of_the_store_is_pushed_anew(folder: Path, server: Endpoint) -> None:
    store = writer(folder)
    happen(store, 20)
    store.close()
    pushed(folder, server)
    with closing(sqlite3.connect(folder / "readings.sqlite")) as db:
        db.execute("DELETE FROM events WHERE id > 5")
        db.commit()
    again = writer(folder)
    happen(again, 3, start=HOUR)
    again.close()
    assert pushed(folder, server) == {"pushed": 8}
    assert wanted(folder) <= held(server)


def test_without_a_database_nothing_is_noted(folder: Path) -> None:
    store = writer(folder)
    happen(store, 4)
    store.close()
    made = Courier(settings(folder), FakeClock(), {}, boot="boot-1")
    assert made.drain()
    made.close()
    assert accounts(folder) == {"waiting": 4}


def test_the_real_database_shows_an_alarm_and_an_extractor(tmp_path: Path) -> None:
    folder = tmp_path / "store"
    store = writer(folder)
    raised = {**ALARM, "state": "unacknowledged", "since": 0}
    record(store, "alarm", "print", 1000, **raised, change="raised")
    record(store, "alarm", "print", 1000, **raised, change="chattering")
    states = {"from": "standby", "to": "extracting"}
    record(store, "extractor", "window fan", 1500, **states, on=True, why="alarm print", about="")
    record(store, "alarm", "print", 2000, **{**raised, "state": "normal"}, change="cleared")
    record(store, "store", "store", 2500, change="set aside", why="damaged", file="x")
    store.close()
    with metrics(tmp_path / "metrics") as server:
        made = courier(folder, server.url)
        assert made.drain(HOUR)
        made.close()
        active, on = "room_air_events_active", "room_air_events_on"
        eventually(lambda: "room_air_events_count" in {key[0] for key in server.events()})
        found = server.events()
    assert {key[1:]: value for key, value in found.items() if key[0] == active} == {
        ("alarm", "print", "1", OFFSET + 1000): 1,
        ("alarm", "print", "2", OFFSET + 1000): 1,
        ("alarm", "print", "1", OFFSET + 2000): 0,
    }
    assert {key[1:]: value for key, value in found.items() if key[0] == on} == {
        ("extractor", "window fan", "1", OFFSET + 1500): 1
    }
    assert found["room_air_events_value", "alarm", "print", "1", OFFSET + 1000] == 23.1
