"""Ages: the wall clock is asked only where nothing better is known, and only once it is right."""

from pathlib import Path

import pytest

from fakes import FakeClock
from stored import OFFSET, record, writer
from ventwright.notifying.ages import Ages
from ventwright.storage.reader import Reader

HOUR = 3_600_000


def never() -> int:
    pytest.fail("the wall clock was asked")


def known(folder: Path, ages: Ages) -> Ages:
    reader = Reader(folder)
    ages.refresh(reader, reader.boots())
    reader.close()
    return ages


def event_at(folder: Path, boot: str, t: int, settled: bool = True) -> None:
    store = writer(folder, boot, settled=settled)
    record(store, "part", "bench", t, change="lost")
    store.close()


def test_of_this_boot_by_its_own_clock(tmp_path: Path) -> None:
    event_at(tmp_path, "now", 5000)
    ages = known(tmp_path, Ages(FakeClock(9000), "now", never))
    assert ages.age("now", 5000, OFFSET) == 4000
    assert ages.age("now", 99_000, OFFSET) == 0


def test_of_an_earlier_boot_by_labels_once_they_are_right(tmp_path: Path) -> None:
    event_at(tmp_path, "before", 5000)
    event_at(tmp_path, "now", 0)
    ages = known(tmp_path, Ages(FakeClock(9000), "now", lambda: OFFSET + 8 * HOUR))
    assert ages.age("before", 5000, OFFSET + 5000) == 8 * HOUR - 5000


def test_of_an_earlier_boot_while_the_clock_is_wrong(tmp_path: Path) -> None:
    event_at(tmp_path, "before", 5000)
    event_at(tmp_path, "now", 0, settled=False)
    ages = known(tmp_path, Ages(FakeClock(9000), "now", never))
    assert ages.age("before", 5000, OFFSET + 5000) == 0


def test_of_a_boot_that_goes_on_elsewhere_by_the_newest_time_of_it(tmp_path: Path) -> None:
    event_at(tmp_path, "rehearsed", 5000)
    event_at(tmp_path, "rehearsed", 7 * HOUR)
    clock = FakeClock(9000)
    ages = known(tmp_path, Ages(clock, "machine", never))
    assert ages.age("rehearsed", 5000, OFFSET) == 7 * HOUR - 5000
    event_at(tmp_path, "rehearsed", 8 * HOUR)
    assert known(tmp_path, ages).age("rehearsed", 5000, OFFSET) == 7 * HOUR - 5000
    clock.sleep_until(clock.now() + 60_000)
    assert known(tmp_path, ages).age("rehearsed", 5000, OFFSET) == 8 * HOUR - 5000
