"""Courses from the store: the same minutes whether reduced or still readings."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from aired import HOUR, MIDNIGHT, configure, fill
from bench.reporting import measure
from ventwright.averaging.course import Course
from ventwright.averaging.courses import channels_of, courses
from ventwright.settings.load import load
from ventwright.settings.model import Settings
from ventwright.storage.reader import Reader
from ventwright.storage.reducing import reduce_next
from ventwright.storage.schema import open_to_write
from ventwright_drivers.quantities import QUANTITIES

SPAN = (MIDNIGHT, MIDNIGHT + 4 * HOUR)


@pytest.fixture(autouse=True)
def utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def air(t: int) -> tuple[tuple[int | None, ...], bytes] | None:
    minute = (t - MIDNIGHT) // 60_000
    return None if 100 <= minute < 120 else ((minute % 70 * 10 + t // 3000 % 3, 500), b"\0\0")


def read(folder: Path, settings: Settings) -> dict[str, Course]:
    reader = Reader(folder)
    try:
        return courses(reader, settings, channels_of(settings), SPAN)
    finally:
        reader.close()


def test_reduced_hours_give_the_same_minutes(tmp_path: Path) -> None:
    fill(tmp_path, {"bench": air}, MIDNIGHT - HOUR, SPAN[1])
    settings = load(configure(tmp_path), {})
    before = read(tmp_path, settings)
    assert before["bench.pm2_5"].mean(100, 120) is None
    db = open_to_write(tmp_path)
    while reduce_next(db, 1, SPAN[1] - MIDNIGHT + HOUR - 30 * 60_000):  # the last hour stays
        pass
    assert db.execute("SELECT count(*) FROM hours").fetchone()[0] == 4
    db.execute("DELETE FROM blocks WHERE last < ?", (3 * HOUR,))
    db.close()
    after = read(tmp_path, settings)
    for channel in ("bench.pm2_5", "bench.pm10"):
        pairs = zip(before[channel].means(1), after[channel].means(1), strict=True)
        for raw, reduced in pairs:
            assert (raw is None) == (reduced is None)
            assert raw is None or raw == pytest.approx(reduced, abs=0.001)
        assert before[channel].known == pytest.approx(after[channel].known, abs=0.05)
    assert after["gas.co"].known == 0


def test_an_hour_that_reaches_beyond_is_cut() -> None:
    course = Course("bench.pm2_5", QUANTITIES["pm2_5"], MIDNIGHT, 30)
    course.put_all(MIDNIGHT - 10 * 60_000, [1000 * n for n in range(60)], [60_000] * 60)
    assert course.means(1) == pytest.approx(list(range(10, 40)))
    course.put_all(MIDNIGHT + 2 * HOUR, [1000], [60_000])
    assert course.known == 30


def test_the_bench_of_a_year_reads_every_minute(tmp_path: Path) -> None:
    assert measure(tmp_path / "year", 2).size > 10_000
