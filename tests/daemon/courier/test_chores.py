"""The timetable begins once the clock is right, survives a set clock, and tells what went wrong."""

import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fakes import FakeClock
from receivers import Endpoint
from stored import OFFSET, database, record, settings, writer
from ventwright.control.server import Asked, Server
from ventwright.courier.chores import Chore, Chores
from ventwright.courier.file import CourierFile
from ventwright.courier.main import Courier
from ventwright.courier.mending import MustEndError
from ventwright.courier.pruning_word import send_word

HOURLY = {"minute": 7}


class Ages:
    """A wall clock that may not be right yet."""

    def __init__(self) -> None:
        self.clock = FakeClock()
        self.right = False
        self.offset = OFFSET

    def wall(self) -> int | None:
        return self.clock.now() + self.offset if self.right else None


@pytest.fixture
def ages() -> Ages:
    return Ages()


@pytest.fixture
def made(ages: Ages) -> Iterator[list[Chores]]:
    found: list[Chores] = []
    yield found
    for chores in found:
        chores.close()
        chores.close()


def begun(ages: Ages, made: list[Chores], do: Any) -> Chores:
    chores = Chores([Chore("word", do, HOURLY)], ages)  # type: ignore[arg-type]
    made.append(chores)
    ages.right = True
    chores.step()
    return chores


def do_now(chores: Chores, name: str = "word") -> None:
    chores._table.modify_job(name, next_run_time=datetime.now(UTC))


def test_nothing_begins_before_the_clock_is_right(ages: Ages, made: list[Chores]) -> None:
    done = threading.Event()
    chores = Chores([Chore("word", done.set, HOURLY)], ages)  # type: ignore[arg-type]
    chores.step()
    assert chores._table is None
    chores = begun(ages, made, done.set)
    do_now(chores)
    assert done.wait(30)


@pytest.mark.parametrize("step", [-3_600_000, 3_600_000, 56 * 365 * 86_400_000])
def test_a_clock_that_is_set_begins_it_anew_and_a_slow_drift_does_not(
    ages: Ages, made: list[Chores], step: int
) -> None:
    chores = begun(ages, made, lambda: None)
    first = chores._table
    for _ in range(10):
        ages.offset += 20_000
        chores.step()
    assert chores._table is first
    ages.offset += step
    chores.step()
    assert chores._table is not first
    assert not first.running
    assert [job.id for job in chores._table.get_jobs()] == ["word"]


def test_a_chore_that_fails_is_told_and_done_again(ages: Ages, made: list[Chores]) -> None:
    came, broken = threading.Semaphore(0), [True]

    def do() -> None:
        came.release()
        if broken[0]:
            raise ValueError("no such thing")

    chores = begun(ages, made, do)
    do_now(chores)
    assert came.acquire(timeout=30)
    until(lambda: chores.outcomes)
    assert chores.outcomes == {"word": "ValueError: no such thing"}
    broken[0] = False
    do_now(chores)
    assert came.acquire(timeout=30)
    until(lambda: chores.outcomes == {"word": ""})


def test_a_chore_that_hangs_stops_no_other_and_is_not_begun_twice(
    ages: Ages, made: list[Chores]
) -> None:
    free, hung, done = threading.Event(), threading.Semaphore(0), threading.Semaphore(0)

    def hang() -> None:
        hung.release()
        assert free.wait(60)

    both = [Chore("word", hang, HOURLY), Chore("other", done.release, HOURLY)]
    chores = Chores(both, ages)  # type: ignore[arg-type]
    made.append(chores)
    ages.right = True
    try:
        chores.step()
        do_now(chores)
        assert hung.acquire(timeout=30)
        do_now(chores, "other")
        assert done.acquire(timeout=30)
        ages.clock.time += 11 * 60_000
        chores.step()
        assert chores.outcomes["word"] == "it was begun and has not ended"
        ages.offset += 3_600_000
        chores.step()  # a timetable that knows nothing of the one that hangs
        chores.outcomes.clear()
        do_now(chores)
        until(lambda: chores.outcomes.get("word"))
        assert chores.outcomes["word"] == "it was begun and has not ended"
    finally:
        free.set()
    until(lambda: not chores._begun)
    assert not hung.acquire(blocking=False)
    do_now(chores)
    until(lambda: chores.outcomes["word"] == "")


def test_a_chore_that_hangs_for_good_ends_the_courier(ages: Ages, made: list[Chores]) -> None:
    free, hung = threading.Event(), threading.Semaphore(0)

    def hang() -> None:
        hung.release()
        assert free.wait(60)

    chores = begun(ages, made, hang)
    try:
        do_now(chores)
        assert hung.acquire(timeout=30)
        ages.clock.time += 59 * 60_000
        chores.step()
        ages.clock.time += 60_000
        with pytest.raises(MustEndError, match="chore word was begun an hour ago"):
            chores.step()
    finally:
        free.set()
    until(lambda: not chores._begun)


POSIX_RULES = "CET-1CEST,M3.5.0,M10.5.0/3"


@pytest.mark.parametrize(
    "zone", ["CET-1CEST", POSIX_RULES, "Europe/Berlin", "<+0545>-5:45", "No/Where"]
)
def test_local_time_is_that_of_the_system_however_it_is_told(
    ages: Ages, made: list[Chores], zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        chores = begun(ages, made, lambda: None)
        (job,) = chores._table.get_jobs()
        due = time.localtime(job.next_run_time.timestamp())
        assert due.tm_min == 7
        assert job.next_run_time.utcoffset() == timedelta(seconds=due.tm_gmtoff)
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize("zone", [POSIX_RULES, "Europe/Berlin"])
def test_the_digest_comes_at_its_local_time_over_daylight_saving(
    ages: Ages, made: list[Chores], zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the tz database: Berlin leaves +02:00 on 25 October 2026 and takes it on 28 March 2027."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        chores = Chores([Chore("digest", lambda: None, {"hour": 18, "minute": 30})], ages)  # type: ignore[arg-type]
        made.append(chores)
        ages.right = True
        chores.step()
        (job,) = chores._table.get_jobs()
        for day, offset in (((2026, 10, 24), 2), ((2026, 10, 25), 1), ((2027, 3, 28), 2)):
            due = job.trigger.get_next_fire_time(None, datetime(*day, 9, tzinfo=UTC))
            assert due.astimezone(UTC) == datetime(*day, 18 - offset, 30, tzinfo=UTC)
    finally:
        monkeypatch.undo()
        time.tzset()


def until(condition: Any) -> None:
    for _ in range(3000):
        if condition():
            return
        threading.Event().wait(0.01)
    raise AssertionError("waited in vain")


def test_the_library_is_loaded_once_it_is_needed(tmp_path: Path) -> None:
    import subprocess

    code = (
        "import sys, ventwright.courier.main\n"
        "print(any(name.startswith('apscheduler') for name in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_the_keeper_gets_word_of_the_events_that_became_messages_and_were_pushed(
    tmp_path: Path, base: Endpoint
) -> None:
    store = writer(tmp_path)
    for n in range(5):
        record(store, "alarm", "print", n, change="raised")
    store.close()
    asked: list[Asked] = []

    def take(request: Asked) -> None:
        asked.append(request)
        request.reply.put({"done": True, "says": ""})

    server = Server(tmp_path / "keeper.socket", take)
    server.start()
    configured = settings(tmp_path, database=database(base.url, batch=3))
    courier = Courier(configured, FakeClock(), {}, boot="boot-1")
    file = CourierFile(tmp_path)
    try:
        (chore,) = courier._timetable()
        assert not chore.do()
        courier._intake.step()
        assert chore.do()
        assert courier.pusher
        assert courier.pusher.step() == 0
        courier.pusher.save()
        assert chore.do()
        assert not send_word(tmp_path / "keeper.socket", file, "another store")
        server.close()
        assert not chore.do()
    finally:
        server.close()
        courier.close()
        file.close()
    said = [(request.words["event"], request.words["pushed"]) for request in asked]
    assert said == [(5, 0), (5, 3)]
    assert {request.verb for request in asked} == {"told"}
