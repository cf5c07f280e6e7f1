"""What is kept and for how long: readings, minutes, hours, events, bytes; the file stays flat."""

import json
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from stored import OFFSET, fill, record, samples_of, writer
from ventwright.events import Readings
from ventwright.settings.model import DAY, HOUR, Storage
from ventwright.storage import upkeep as tending
from ventwright.storage.pruning import LEAST, Limits, prune, pruned
from ventwright.storage.reader import Reader
from ventwright.storage.reducing import reduce_next
from ventwright.storage.schema import store_path
from ventwright.storage.summaries import summaries
from ventwright.storage.upkeep import EVERY_EVENT, RESERVE, Upkeep
from ventwright.storage.writer import Writer

FEW = Limits(readings=3, minutes=5, hours=8, events=6)


def hour(store: Writer, n: int) -> None:
    """Store something of an hour of a boot, some 7 kB: a sample every six seconds, and an event."""
    dice = random.Random(n)
    for k in range(600):
        steps = tuple(dice.getrandbits(30) for _ in range(3))
        store.add(Readings(n * HOUR + k * 6000, "bench", steps, bytes(3)))
        if k % 200 == 199:
            store.commit()
    record(store, "alarm", "print", n * HOUR + 1, n=n)


def filled(folder: Path, hours: int) -> Writer:
    store = writer(folder, offset=OFFSET // HOUR * HOUR)
    for n in range(hours):
        hour(store, n)
    while store.tend(lambda db, boot: reduce_next(db, boot, (hours + 5) * HOUR)):
        pass
    return store


def left(folder: Path) -> dict[str, list[int]]:
    """Which hours are left, by kind."""
    reader = Reader(folder)
    start = OFFSET // HOUR
    found = {
        "readings": sorted({b.first // HOUR for b in reader.all_blocks()}),
        "events": [event.body["n"] for event in reader.events()],
    }
    reader.close()
    for name in ("minute", "hour"):
        told = summaries(folder, "bench.pm1", name, 0, 2**62)  # type: ignore[arg-type]
        found[name] = sorted({s.start // HOUR - start for s in told})
    return found


def prune_all(
    store: Writer, limits: Limits = FEW, told: int = EVERY_EVENT, pushed: int = EVERY_EVENT
) -> int:
    count = 0
    while store.tend(lambda db, _boot: prune(db, limits, told, pushed)):
        count += 1
    return count


def test_each_kind_is_kept_for_its_time_and_not_longer(tmp_path: Path) -> None:
    store = filled(tmp_path, 12)
    before = samples_of(tmp_path)
    assert prune_all(store) > 0
    assert left(tmp_path) == {
        "readings": [9, 10, 11],
        "minute": list(range(7, 12)),
        "hour": list(range(4, 12)),
        "events": list(range(6, 12)),
    }
    found = pruned(store._connection())
    assert found["samples"] == before - samples_of(tmp_path) == 9 * 600
    assert prune_all(store) == 0


@pytest.mark.parametrize("told", [0, 4, 5])
def test_events_are_kept_until_they_were_told(tmp_path: Path, told: int) -> None:
    store = filled(tmp_path, 12)
    prune_all(store, told=told)
    assert left(tmp_path)["events"] == list(range(told, 12))


@pytest.mark.parametrize("pushed", [0, 4, 5])
def test_events_are_kept_until_they_were_pushed(tmp_path: Path, pushed: int) -> None:
    store = filled(tmp_path, 12)
    prune_all(store, Limits(3, 5, 20, 6), pushed=pushed)
    assert left(tmp_path)["events"] == list(range(pushed, 12))


@pytest.mark.parametrize(("told", "kept_from"), [(EVERY_EVENT, 6), (4, 4), (0, 0)])
def test_a_told_event_that_is_twice_as_old_as_it_is_kept_waits_for_no_database(
    tmp_path: Path, told: int, kept_from: int
) -> None:
    store = filled(tmp_path, 12)
    prune_all(store, Limits(3, 5, 20, 3), told=told, pushed=0)
    assert left(tmp_path)["events"] == list(range(kept_from, 12))


def test_events_that_are_kept_as_long_as_hours_go_all_the_same(tmp_path: Path) -> None:
    store = filled(tmp_path, 12)
    prune_all(store, Limits(3, 5, 6, 6))
    assert left(tmp_path)["events"] == list(range(7, 12))


def test_readings_that_are_not_reduced_are_kept_whatever_their_age(tmp_path: Path) -> None:
    store = writer(tmp_path)
    for n in range(12):
        hour(store, n)
    assert prune_all(store) == 0
    assert left(tmp_path)["readings"] == list(range(12))


def test_a_wrong_clock_deletes_nothing(tmp_path: Path) -> None:
    filled(tmp_path, 3).close()
    for n, offset in enumerate((OFFSET + 56 * 365 * DAY, 0, OFFSET)):
        store = writer(tmp_path, f"boot {n}", offset)
        hour(store, 0)
        while store.tend(lambda db, boot: reduce_next(db, boot, 9 * HOUR)):
            pass
        assert prune_all(store, Limits(9, 9, 9, 9)) == 0
        store.close()


def test_numbers_of_blocks_and_events_grow_on_after_all_was_pruned(tmp_path: Path) -> None:
    store = filled(tmp_path, 6)
    reader = Reader(tmp_path)
    before = (reader.last_block(), reader.newest_event())
    prune_all(store, Limits(1, 1, 1, 1))
    assert (reader.last_block(), reader.newest_event()) == before
    hour(store, 6)
    assert reader.last_block() > before[0]
    assert reader.newest_event() > before[1]
    reader.close()


class Disk:
    free = 10**12

    def __call__(self, folder: Path) -> int:
        assert folder.exists()
        return self.free


def kept(upkeep: Upkeep, store: Writer, until: int) -> None:
    for n in range(100):
        upkeep.step(store, until + n * tending._EVERY_MS)


@pytest.fixture
def tight(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tending, "LEAST", LEAST._replace(readings=2))


@pytest.mark.usefixtures("tight")
def test_where_the_disk_is_nearly_full_readings_go_before_their_time_until_room_is_made(
    tmp_path: Path,
) -> None:
    store, disk = filled(tmp_path, 12), Disk()
    upkeep = Upkeep(Storage(tmp_path), EVERY_EVENT, EVERY_EVENT, disk)
    kept(upkeep, store, 20 * HOUR)
    assert left(tmp_path)["readings"] == list(range(12))
    disk.free = RESERVE - 12_000
    kept(upkeep, store, 30 * HOUR)
    remaining = left(tmp_path)["readings"]
    assert 2 < len(remaining) < 12
    assert upkeep.space
    assert upkeep.space.spare > 0
    disk.free = 0
    kept(upkeep, store, 40 * HOUR)
    assert left(tmp_path)["readings"] == [10, 11]
    assert upkeep.facts()["tight"]
    assert len(left(tmp_path)["minute"]) == len(left(tmp_path)["events"]) == 12


@pytest.mark.usefixtures("tight")
def test_a_store_above_its_size_keeps_less(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store, settings = filled(tmp_path, 12), Storage(tmp_path)
    object.__setattr__(settings, "most_megabytes", 0.06)
    kept(Upkeep(settings, EVERY_EVENT, EVERY_EVENT, Disk()), store, 20 * HOUR)
    assert left(tmp_path)["readings"] == [10, 11]


def test_the_file_does_not_grow_once_pruning_has_begun(tmp_path: Path) -> None:
    store = writer(tmp_path, offset=OFFSET // HOUR * HOUR)
    sizes = []
    for n in range(40):
        hour(store, n)
        while store.tend(lambda db, boot, n=n: reduce_next(db, boot, (n + 1) * HOUR)):
            pass
        prune_all(store, Limits(4, 8, 12, 8))
        store._connection().execute("PRAGMA wal_checkpoint")
        sizes.append(store_path(tmp_path).stat().st_size)
    assert max(sizes[20:]) <= sizes[20] + 4096
    store.close()
    with closing(sqlite3.connect(store_path(tmp_path))) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_word_of_what_was_told_counts_for_the_store_it_is_of(tmp_path: Path) -> None:
    store = filled(tmp_path, 12)
    upkeep = Upkeep(Storage(tmp_path), 0, 0, Disk())
    upkeep._limits = FEW._replace(hours=20)
    upkeep.allow("another store", 9, 9)
    kept(upkeep, store, 20 * HOUR)
    assert len(left(tmp_path)["events"]) == 12
    name = json.loads(store._connection().execute(
        "SELECT body FROM state WHERE key = 'store'").fetchone()[0])  # fmt: skip
    upkeep.allow(name, 3, 2)
    kept(upkeep, store, 30 * HOUR)
    assert left(tmp_path)["events"] == list(range(2, 12))
    upkeep.allow(name, 3, 9)
    kept(upkeep, store, 40 * HOUR)
    assert left(tmp_path)["events"] == list(range(3, 12))


def test_whatever_fails_is_tried_again_and_nothing_is_thrown(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    store = filled(tmp_path, 2)

    def broken(_folder: Path) -> int:
        raise OSError("no such disk")

    upkeep = Upkeep(Storage(tmp_path), 0, 0, broken)
    upkeep.step(store, 20 * HOUR)
    assert "no such disk" in caplog.text
    fill(store, 3)
    store.commit()
