"""The store's thread: events at once, readings in groups, patience, and one word each way."""

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from fakes import FakeClock
from ventwright.events import Readings, Record, StoreReport
from ventwright.storage import keeping
from ventwright.storage.keeping import RETRY_MS, Keeping, Labels, State
from ventwright.storage.writer import Writer
from ventwright_drivers.clock import SystemClock

EVERY = 50_000


class Scripted(Writer):
    """A writer that keeps no file; refuses while `broken`."""

    def __init__(self, clock: FakeClock) -> None:
        super().__init__(Path("/nowhere"), "boot", 0)
        self.clock = clock
        self.broken: Exception | None = None
        self.commits: list[tuple[int, list[Any]]] = []
        self.labels: list[tuple[str, int]] = []
        self._items: list[Any] = []

    def settle(self, offset: int) -> None:
        self.labels.append(("settle", offset))

    def guess(self, offset: int) -> None:
        self.labels.append(("guess", offset))

    def add(self, item: Any) -> None:
        self._items.append(item)

    def keep(self, key: str, body: Any) -> None:
        self._items.append((key, body))

    def commit(self) -> None:
        if self.broken:
            raise self.broken
        self.commits.append((self.clock.now(), self._items))
        self._items = []


class Bench:
    def __init__(self, right: bool = True) -> None:
        self.clock = FakeClock()
        self.writer = Scripted(self.clock)
        self.reports: list[StoreReport] = []
        self.right = right
        labels = Labels(lambda: 7, lambda: self.right)
        self.keeping = Keeping(self.writer, self.clock, labels, EVERY, self.reports.append)

    def put(self, item: Any) -> None:
        """Have an item taken as the thread would."""
        self.keeping.put(item)
        self.until(self.clock.now())

    def until(self, t: int) -> None:
        """Run the thread until the time `t`, by stopping its clock then."""
        end = Stop(self.clock, t)
        self.keeping._inbox, inner = end, self.keeping._inbox
        end.inner = inner
        self.keeping.run()
        self.keeping._inbox, self.clock.stopped = inner, False


class Stop:
    """An inbox that stops the clock at a time."""

    inner: Any

    def __init__(self, clock: FakeClock, t: int) -> None:
        self._clock, self._t = clock, t

    def put(self, item: Any) -> None:
        self.inner.put(item)

    def get(self, until: int | None) -> Any:
        last = until is None or until > self._t
        item = self.inner.get(self._t if last else until)
        self._clock.stopped = item is None and last
        return item


def reading(t: int) -> Readings:
    return Readings(t, "bench", (1,), b"\0")


RECORD = Record(5, "alarm", "print", {})


def test_readings_wait_for_their_group_and_events_do_not() -> None:
    bench = Bench()
    bench.put(reading(0))
    bench.until(EVERY - 1)
    assert bench.writer.commits == []
    bench.until(EVERY)
    assert bench.writer.commits == [(EVERY, [reading(0)])]
    bench.put(reading(1))
    bench.put(RECORD)
    times = [t for t, _ in bench.writer.commits]
    assert times == [EVERY] * 2
    assert bench.writer.commits[1][1] == [RECORD, reading(1)]


def test_state_is_stored_in_one_commit_with_the_record_it_belongs_to() -> None:
    bench = Bench()
    bench.put(State("core", 1))
    assert bench.writer.commits == []
    bench.put(RECORD)
    assert bench.writer.commits == [(0, [("core", 1), RECORD])]


@pytest.mark.parametrize(
    "error", [sqlite3.OperationalError("full"), OSError("gone"), ValueError("a bug")]
)
def test_a_failing_store_is_told_once_tried_again_and_told_once_when_it_is_back(
    error: Exception,
) -> None:
    bench = Bench()
    bench.writer.broken = error
    bench.put(RECORD)
    for n in range(1, 10):
        bench.put(reading(n))
        bench.until(n * RETRY_MS)
    assert [r.why for r in bench.reports] == [str(error)]
    assert bench.keeping.failing == str(error)
    bench.writer.broken = None
    bench.until(10 * RETRY_MS)
    assert [r.why for r in bench.reports] == [str(error), ""]
    assert bench.writer.commits[-1][1] == [RECORD, *(reading(n) for n in range(1, 10))]
    assert bench.keeping.failing == ""
    assert bench.keeping.last_commit == bench.clock.now()


def test_labels_are_guessed_until_the_clock_is_right_and_then_settled_once() -> None:
    bench = Bench(right=False)
    bench.put(RECORD)
    bench.right = True
    bench.put(RECORD)
    bench.right = False
    bench.put(RECORD)
    assert bench.writer.labels == [("guess", 7), ("settle", 7)]


def test_finishing_stores_all_that_is_left() -> None:
    bench = Bench()
    for n in range(5):
        bench.keeping.put(reading(n))
    bench.clock.stop()
    bench.keeping.run()
    bench.keeping.finish()
    assert bench.writer.commits[-1][1] == [reading(n) for n in range(5)]


def test_on_the_machines_clock_nothing_put_around_the_stop_is_lost() -> None:
    bench, clock = Bench(), SystemClock()
    keeping = Keeping(bench.writer, clock, Labels(lambda: 7, lambda: True), EVERY, print)
    keeping.put(RECORD)
    clock.stop()
    keeping.put(State("core", 1))
    keeping.put(reading(1))
    keeping.run()
    keeping.finish()
    assert bench.writer.commits[-1][1] == [RECORD, ("core", 1), reading(1)]


def test_what_a_failing_store_has_not_taken_can_be_told_from_memory(tmp_path: Path) -> None:
    clock = FakeClock()
    folder = tmp_path / "store"
    folder.write_text("in the way")
    labels = Labels(lambda: 7, lambda: True)
    keeping = Keeping(Writer(folder, "boot", 7), clock, labels, EVERY, lambda _report: None)
    keeping._take(Record(0, "request", "cli", {"verb": "hold"}))
    for t in range(250):
        keeping._take(Record(t, "alarm", "print", {"change": "raised"}))
    assert keeping.unstored == []
    keeping._commit()
    assert [record["t"] for record in keeping.unstored] == list(range(50, 250))
    body = {"change": "raised"}
    assert keeping.unstored[-1] == {
        "boot": "boot", "t": 249, "kind": "alarm", "subject": "print", "body": body,
    }  # fmt: skip
    folder.unlink()
    keeping._commit()
    assert keeping.unstored == []
    keeping.finish()


def test_a_commit_that_never_ends_is_told_and_takes_no_memory(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The thread hangs in the disk, as for a card that died; the core goes on meanwhile."""
    monkeypatch.setattr(keeping, "MOST_WAITING", 100)
    bench = Bench()
    for _ in range(120):
        bench.keeping.put(Readings(bench.clock.now(), "bench", (1,), b"\0"))
        assert not bench.keeping.failing
        bench.clock.sleep_until(bench.clock.now() + 500)
    assert bench.writer.dropped == 20
    bench.clock.sleep_until(bench.clock.now() + EVERY + keeping.HANGS_MS)
    assert bench.keeping.failing == "the disk has not answered for 110 s"
    bench.until(bench.clock.now() + EVERY)
    assert bench.keeping.failing == ""
    assert len(bench.writer.commits[0][1]) == 100
