"""Lockstep: the same threads give the same trace, whatever the machine does meanwhile."""

import os
import threading
from itertools import count
from typing import Any

import pytest

from ventwright.rehearsal.baton import LockstepClock

Trace = list[tuple[Any, ...]]


def _straight(end: int) -> Any:
    """A world in which nothing happens but the next deadline, until `end`."""

    def idle(deadline: int | None) -> int | None:
        return None if deadline is None or deadline > end else deadline

    return idle


def _clock(end: int = 10_000) -> LockstepClock:
    return LockstepClock(0, _straight(end))


def test_time_passes_only_when_all_wait() -> None:
    clock = _clock()
    trace: Trace = []

    def ticking(name: str, period: int) -> Any:
        def run() -> None:
            for turn in count(1):
                clock.sleep_until(turn * period)
                if clock.stopped:
                    return
                trace.append((clock.now(), name))

        return run

    threads = [clock.spawn(n, ticking(n, p)) for n, p in (("a", 3000), ("b", 2000), ("c", 3000))]
    for thread in threads:
        thread.join()
    assert trace == [
        (2000, "b"), (3000, "a"), (3000, "c"), (4000, "b"), (6000, "a"),
        (6000, "b"), (6000, "c"), (8000, "b"), (9000, "a"), (9000, "c"), (10_000, "b"),
    ]  # fmt: skip


def _busy_program() -> Trace:
    """Five threads that pass numbers round through inboxes, at odd times."""
    clock = _clock(400_000)
    trace: Trace = []
    boxes = [clock.inbox() for _ in range(5)]

    def run(number: int) -> None:
        due = 0
        while not clock.stopped:
            item: Any = boxes[number].get(due)
            if clock.stopped:
                return
            if item is None:
                due += 700 + 130 * number
                item = clock.now()
            trace.append((clock.now(), number, item))
            if item % 3:
                boxes[(number + item) % 5].put(item // 2)

    threads = [clock.spawn(str(n), lambda n=n: run(n)) for n in range(5)]
    for thread in threads:
        thread.join()
    return trace


def test_same_program_same_trace() -> None:
    first = _busy_program()
    assert len(first) > 2000
    assert first == _busy_program()


def test_only_one_runs_at_a_time() -> None:
    clock = _clock(300)
    running: list[int] = []

    def run(number: int) -> None:
        while not clock.stopped:
            running.append(number)
            assert running == [number]
            os.sched_yield()
            running.remove(number)
            clock.sleep_until(clock.now() + 1)

    threads = [clock.spawn(str(n), lambda n=n: run(n)) for n in range(8)]
    for thread in threads:
        thread.join()
    assert clock.now() == 300


def test_maker_holds_the_baton_until_it_waits() -> None:
    clock = _clock()
    trace: Trace = []
    thread = clock.spawn("late", lambda: trace.append(("spawned", clock.now())))
    trace.append(("maker", clock.now()))
    clock.sleep_until(5000)
    trace.append(("maker", clock.now()))
    thread.join()
    assert trace == [("maker", 0), ("spawned", 0), ("maker", 5000)]


def test_item_wakes_its_reader_before_the_deadline() -> None:
    clock = _clock()
    box = clock.inbox()
    got: Trace = []
    reader = clock.spawn("reader", lambda: got.append((box.get(9000), clock.now())))

    def write() -> None:
        clock.sleep_until(4000)
        box.put("item")

    clock.spawn("writer", write)
    reader.join()
    assert got == [("item", 4000)]


def test_empty_inbox_gives_nothing_at_the_deadline() -> None:
    clock = _clock()
    assert clock.inbox().get(3000) is None
    assert clock.now() == 3000


def test_put_of_a_foreign_thread_is_noticed_at_the_next_hand_over() -> None:
    clock = _clock()
    box = clock.inbox()
    foreign = threading.Thread(target=box.put, args=("hello",))

    def write() -> None:
        clock.sleep_until(2000)
        foreign.start()
        foreign.join()

    clock.spawn("writer", write)
    assert box.get(9000) == "hello"
    assert clock.now() == 2000


def test_foreign_thread_may_wait_for_an_answer() -> None:
    clock = _clock()
    question, answer = clock.inbox(), clock.inbox()
    got: Trace = []

    def ask() -> None:
        question.put("well?")
        got.append((answer.get(None),))

    foreign = threading.Thread(target=ask)
    foreign.start()
    while question.get(clock.now()) is None:
        os.sched_yield()
    answer.put("yes")
    foreign.join()
    assert got == [("yes",)]


def test_bytes_wake_who_waits_for_them() -> None:
    near, far = os.pipe()
    clock = _clock()

    def write() -> None:
        clock.sleep_until(1500)
        os.write(far, b"x")

    clock.spawn("writer", write)
    try:
        assert not clock.wait_readable(near, 1000)
        assert clock.wait_readable(near, 9000)
        assert clock.now() == 1500
    finally:
        os.close(near)
        os.close(far)


def test_end_of_the_world_stops_all_waits() -> None:
    clock = _clock(100)
    ends: list[str] = []
    threads = [
        clock.spawn("sleeper", lambda: (clock.sleep_until(1 << 40), ends.append("sleeper"))),
        clock.spawn("reader", lambda: (clock.inbox().get(None), ends.append("reader"))),
    ]
    for thread in threads:
        thread.join()
    assert clock.stopped
    assert sorted(ends) == ["reader", "sleeper"]
    assert clock.inbox().get(clock.now() + 1000) is None


def test_join_with_a_timeout_counts_virtual_time() -> None:
    clock = _clock()
    thread = clock.spawn("long", lambda: clock.sleep_until(8000))
    thread.join(timeout=3)
    assert (clock.now(), thread.is_alive()) == (3000, True)


@pytest.mark.parametrize("failing", [ValueError, SystemExit])
def test_dying_thread_passes_the_baton_on(
    failing: type[BaseException], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    clock = _clock()

    def die() -> None:
        raise failing

    clock.spawn("dying", die)
    clock.sleep_until(1000)
    assert clock.now() == 1000


def test_who_is_overdue_goes_before_who_is_just_ready() -> None:
    clock = _clock()
    boxes = [clock.inbox(), clock.inbox()]
    trace: Trace = []

    def first() -> None:
        boxes[0].get(None)
        trace.append(("first",))

    def second() -> None:
        clock.sleep_until(1000)
        boxes[0].put("go")
        boxes[1].get(500)  # long past: the baton stays
        trace.append(("second",))

    for thread in [clock.spawn("first", first), clock.spawn("second", second)]:
        thread.join()
    assert trace == [("second",), ("first",)]
