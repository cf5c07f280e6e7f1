"""Minutes and hours against sums done the long way, before and after readings are reduced."""

import math
import random
from pathlib import Path
from statistics import fmean

import pytest

from stored import OFFSET, writer
from ventwright.events import Readings
from ventwright.storage.condensing import (
    HOUR_MS,
    Figure,
    condense,
    of_hour,
    pack_figures,
    unpack_figures,
)
from ventwright.storage.reducing import reduce_next
from ventwright.storage.summaries import Summary, summaries
from ventwright.storage.writer import Writer
from ventwright_drivers.quantities import QUANTITIES

MINUTE_MS = 60_000
EVER = (0, 2**62)
Sample = tuple[int, int | None, int]


def samples(hours: float, seed: int = 1, start: int = 0) -> list[Sample]:
    """About one sample a second, some of them bad, some minutes of them missing."""
    dice, t, made = random.Random(seed), start, []
    while t < start + hours * HOUR_MS:
        t += dice.randrange(900, 1100)
        t += dice.choice([0, 90_000]) if dice.random() < 0.001 else 0
        mark = 0 if dice.random() < 0.95 else dice.choice([1, 3, 8])
        made.append((t, None if dice.random() < 0.02 else dice.randrange(0, 900), mark))
    return made


def put(store: Writer, made: list[Sample], every: int = 50) -> None:
    for n, (t, step, mark) in enumerate(made, 1):
        store.add(Readings(t, "bench", (step, step, 7), bytes((mark, mark, 0))))
        if n % every == 0:
            store.commit()
    store.commit()


def the_long_way(made: list[Sample], length: int, offset: int = OFFSET) -> dict[int, list[float]]:
    """Give every ms of every good reading to its minute or hour: start -> mean, coverage."""
    areas: dict[int, float] = {}
    covers: dict[int, int] = {}
    before: int | None = None
    for t, step, mark in made:
        if mark or step is None:
            continue
        span = t - before if before is not None and t - before <= 5000 else 1000
        for ms in range(t + offset - span, t + offset, 10):
            place = ms // length * length
            areas[place] = areas.get(place, 0) + 10 * step
            covers[place] = covers.get(place, 0) + 10
        before = t
    return {at: [areas[at] / covers[at] / 10, covers[at] / length] for at in areas}


def reduce_all(store: Writer, now: int) -> int:
    count = 0
    while store.tend(lambda db, boot: reduce_next(db, boot, now)):
        count += 1
    return count


def told(folder: Path, step: str, since: int = 0, until: int = 2**62) -> list[Summary]:
    return list(summaries(folder, "bench.pm2_5", step, since, until))  # type: ignore[arg-type]


@pytest.fixture
def store(tmp_path: Path) -> Writer:
    return writer(tmp_path)


@pytest.mark.parametrize(("step", "length"), [("minute", MINUTE_MS), ("hour", HOUR_MS)])
def test_they_are_time_weighted_means_as_summed_the_long_way(
    tmp_path: Path, store: Writer, step: str, length: int
) -> None:
    made = samples(1.7)
    put(store, made)
    wanted = the_long_way(made, length)
    found = told(tmp_path, step)
    assert {s.start for s in found if s.coverage > 0.03} == {
        at for at, (_, cover) in wanted.items() if cover > 0.03
    }
    for one in (s for s in found if s.coverage > 0.03):
        mean, cover = wanted[one.start]
        assert one.mean == pytest.approx(mean, abs=0.4 if step == "minute" else 0.05)
        assert one.coverage == pytest.approx(cover, abs=0.02)
        good = [v / 10 for t, v, m in made if not m and v is not None
                and one.start < t + OFFSET <= one.start + length]  # fmt: skip
        assert (one.low, one.high) == (min(good), max(good))


@pytest.mark.parametrize("step", ["minute", "hour"])
def test_reduced_or_not_they_are_the_same(tmp_path: Path, store: Writer, step: str) -> None:
    made = samples(2.4)
    put(store, made)
    before = told(tmp_path, step)
    part = told(tmp_path, step, before[1].start, before[-1].start)
    assert part == before[1:-1]
    assert reduce_all(store, made[-1][0]) == 2
    after = told(tmp_path, step)
    assert [(s.start, s.low, s.high, s.coverage) for s in after] == [
        (s.start, s.low, s.high, s.coverage) for s in before
    ]
    assert all(abs(a.mean - b.mean) <= 0.0005 for a, b in zip(after, before, strict=True))
    assert told(tmp_path, step, after[1].start, after[-1].start) == after[1:-1]


def test_an_hour_is_reduced_once_it_is_over_and_its_labels_are_final(tmp_path: Path) -> None:
    store = writer(tmp_path, settled=False)
    made = samples(2.2)
    put(store, made)
    assert reduce_all(store, made[-1][0]) == 0
    assert reduce_all(store, made[-1][0] + 20 * HOUR_MS) == 0
    store.settle(OFFSET + 1234)
    store.commit()
    end = HOUR_MS - (OFFSET + 1234) % HOUR_MS
    assert reduce_all(store, end) == 0
    assert reduce_all(store, end + 182_000) == 1
    assert {s.start % MINUTE_MS for s in told(tmp_path, "minute")} == {0}


def test_a_board_that_never_learns_the_time_is_reduced_after_a_day(tmp_path: Path) -> None:
    store = writer(tmp_path, settled=False)
    made = samples(2.2)
    put(store, made)
    assert reduce_all(store, 30 * HOUR_MS) >= 2


def test_boots_that_are_over_are_reduced_and_hours_are_counted_by_their_labels(
    tmp_path: Path,
) -> None:
    for boot in range(3):
        store = writer(tmp_path, f"boot-{boot}", OFFSET + boot * 600_000)
        put(store, samples(0.1, boot))
        store.close()
    store = writer(tmp_path, "boot-9", OFFSET + 30 * HOUR_MS)
    store.commit()
    assert reduce_all(store, 0) == 3
    db = store._connection()
    numbers = [row[0] for row in db.execute("SELECT number FROM hours ORDER BY id")]
    assert sorted(set(numbers)) == [1, 2] or set(numbers) == {1}
    assert len(told(tmp_path, "hour")) == 3


def test_a_block_over_many_hours_as_after_a_full_disk_is_reduced_hour_by_hour(
    tmp_path: Path, store: Writer
) -> None:
    made = samples(3.3)
    put(store, made, every=10**9)
    before = told(tmp_path, "hour")
    put(store, samples(1, 2, made[-1][0] + 10_000))
    count = reduce_all(store, made[-1][0] + 2 * HOUR_MS)
    assert count == len(told(tmp_path, "hour"))
    assert [s.start for s in told(tmp_path, "hour")][: len(before)] == [s.start for s in before]
    wanted = the_long_way(made, HOUR_MS)
    for one in told(tmp_path, "hour")[: len(before) - 1]:
        assert one.mean == pytest.approx(wanted[one.start][0], abs=0.05)


def test_a_damaged_block_costs_itself_only(tmp_path: Path, store: Writer) -> None:
    put(store, samples(1.2))
    db = store._connection()
    db.execute("UPDATE blocks SET body = x'00' WHERE id = 3")
    before = [s.start for s in told(tmp_path, "minute")]
    assert reduce_all(store, 5 * HOUR_MS) >= 1
    assert [s.start for s in told(tmp_path, "minute")] == before
    assert len(before) > 60


def test_figures_survive_packing_to_a_hundredth_of_a_step() -> None:
    dice = random.Random(2)
    columns = [
        [
            Figure(dice.uniform(-4500, 1e9), dice.randrange(-4500, 10**9), 10**9, 60_000)
            if dice.random() < 0.7
            else None
            for _ in range(60)
        ]
        for _ in range(3)
    ]
    back = unpack_figures(pack_figures(columns), 3)
    for column, found in zip(columns, back, strict=True):
        for one, other in zip(column, found, strict=True):
            assert (one is None) == (other is None)
            if one and other:
                assert one[1:] == other[1:]
                assert math.isclose(one.mean, other.mean, abs_tol=0.0051)
    for wrong in (b"", b"\0", pack_figures(columns)[:-9]):
        with pytest.raises(ValueError, match="summary"):
            unpack_figures(wrong, 3)


def test_an_hour_without_a_good_reading_has_no_figure() -> None:
    assert condense([], 2, 0) == [[None] * 60] * 2
    assert of_hour([None] * 60) is None
    figures = [Figure(1.0, 0, 2, 30_000), None, Figure(4.0, 3, 5, 60_000)]
    found = of_hour(figures)
    assert found == Figure(fmean([1.0, 4.0, 4.0]), 0, 5, 90_000)


def test_all_that_is_measured_can_be_summed(tmp_path: Path) -> None:
    for name in QUANTITIES:
        assert list(summaries_of_nothing(tmp_path, name)) == []


def summaries_of_nothing(folder: Path, name: str) -> list[Summary]:
    store = writer(folder)
    store.commit()
    store.close()
    return list(summaries(folder, f"bench.{name}", "minute", *EVER))
