"""Means in the channel's unit: certified data sets, coverage, and what is loaded again."""

import pytest

from ventwright.means.channel import Channel, reach_of
from ventwright_drivers.quantities import QUANTITIES, Quantity

# NIST StRD, univariate summary statistics: NumAcc1 to NumAcc4 with their certified means.
CERTIFIED = {
    "NumAcc1": ([10000001, 10000003, 10000002], 1, 10000002),
    "NumAcc2": ([12, *([11, 13] * 500)], 10, 1.2),
    "NumAcc3": ([10000002, *([10000001, 10000003] * 500)], 10, 1000000.2),
    "NumAcc4": ([100000002, *([100000001, 100000003] * 500)], 10, 10000000.2),
}


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified_means_come_out_exactly(name: str) -> None:
    steps, per_unit, mean = CERTIFIED[name]
    channel = Channel("x.y", Quantity("y", "y", "1", per_unit, 0, 1e12), 1000)
    length = 1000 * len(steps)
    channel.watch(length)
    for n, step in enumerate(steps, 1):
        channel.add(1000 * n, step)
    assert channel.mean(length, length, 1.0) == (mean, 1.0)


def channel() -> Channel:
    made = Channel("bench.pm2_5", QUANTITIES["pm2_5"], 1000)
    made.watch(10_000)
    return made


def test_below_the_asked_coverage_there_is_no_mean() -> None:
    bench = channel()
    for n in range(1, 8):
        bench.add(1000 * n, 120)
    assert bench.mean(7000, 10_000, 0.7) == (12.0, 0.7)
    assert bench.mean(7000, 10_000, 0.71) == (None, 0.7)


def test_coverage_falls_once_nothing_came_for_longer_than_the_reach() -> None:
    bench = channel()
    for n in range(1, 11):
        bench.add(1000 * n, 120)
    assert bench.mean(15_000, 10_000, 1.0) == (12.0, 1.0)
    assert bench.speaks(15_000)
    assert bench.mean(15_001, 10_000, 0.4) == (12.0, 0.4999)
    assert not bench.speaks(15_001)
    assert bench.mean(20_000, 10_000, 0.1) == (None, 0.0)


def test_a_part_that_slows_down_in_still_air_leaves_no_gap() -> None:
    bench = channel()
    for n in range(1, 6):
        bench.add(2300 * n, 70)
    assert bench.mean(11_500, 10_000, 1.0) == (7.0, 1.0)
    assert reach_of(1000) == 5000


def test_what_is_loaded_twice_counts_once() -> None:
    bench = channel()
    readings = [(1000 * n, 10 * n) for n in range(1, 11)]
    bench.load([t for t, _ in readings], [s for _, s in readings])
    before = bench.mean(10_000, 10_000, 1.0)
    bench.load([t for t, _ in readings], [s for _, s in readings])
    assert bench.mean(10_000, 10_000, 1.0) == before


def test_loading_is_as_good_as_having_been_there() -> None:
    one, other = channel(), channel()
    readings = [(700 * n, n * n % 97) for n in range(1, 900)]
    for t, step in readings:
        one.add(t, step)
    other.load([t for t, _ in readings], [s for _, s in readings])
    end = readings[-1][0]
    assert one.mean(end, 10_000, 0.1) == other.mean(end, 10_000, 0.1)
    assert one.base == other.base


def test_nothing_is_known_at_first() -> None:
    bench = channel()
    assert bench.base is None
    assert bench.last_value is None
    assert bench.mean(10**6, 10_000, 0.1) == (None, 0.0)


def test_a_part_that_rests_for_half_an_hour_has_a_baseline_like_one_that_does_not() -> None:
    pace = 31 * 60_000
    channel = Channel("bench.pm2_5", QUANTITIES["pm2_5"], pace)
    for wake in range(100):
        for second in range(30):
            channel.add(wake * pace + second * 1000, 50 + wake % 3)
    assert channel.base == pytest.approx(5.1, abs=0.1)
    assert not channel.baseline.young
    channel.add(100 * pace + 4 * 3600_000, 50)  # longer than three paces: nobody knows what was
    assert channel.lowest is None
