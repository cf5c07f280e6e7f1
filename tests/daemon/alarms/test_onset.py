"""A rise that looks ahead: sources against doors, drift, noise and single wild readings."""

import json
import random
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from ventwright.alarms.alarm import Alarm
from ventwright.alarms.comparing import longest_window
from ventwright.means.channel import Channel
from ventwright_drivers.quantities import QUANTITIES

SECOND, MINUTE = 1000, 60_000
SHIPPED = {
    "setpoint": 4,
    "share": 1.2,
    "deadband": 2.7,
    "over": 20 * SECOND,
    "ahead": 6 * MINUTE,
    "on_delay": 10 * SECOND,
    "off_delay": 2 * MINUTE,
}


class Bench:
    """The shipped alarm on a channel of one reading a second, after hours of quiet air."""

    def __init__(self, level: float = 5, noise: float = 0.0, **changes: Any) -> None:
        self.channel = Channel("bench.pm2_5", QUANTITIES["pm2_5"], SECOND)
        given = {"compare": "rise", **SHIPPED, **changes}
        self.alarm = Alarm("a", rooms.alarm(**given), self.channel)
        self.noise, self.level, self.dice, self.t = noise, level, random.Random(1), 0
        self.run(3 * 60, lambda _: 0)

    def show(self, value: float) -> list[str]:
        self.t += SECOND
        noisy = max(0.0, value + self.dice.gauss(0, self.noise))
        self.channel.add(self.t, round(noisy * 10))
        return self.alarm.evaluate(self.t)

    def run(self, minutes: float, above: Callable[[float], float]) -> list[tuple[float, str]]:
        """Show a level by the minute; returns what changed, and after how many s."""
        told, count = [], round(minutes * 60)
        for n in range(1, count + 1):
            told += [(n, change) for change in self.show(self.level + above(n / 60))]
        return told


def test_a_source_is_noticed_long_before_the_setpoint_is_reached() -> None:
    bench = Bench()
    (after, change), *_ = bench.run(5, lambda minute: 1.2 * minute)
    assert change == "raised"
    look = bench.alarm.look
    assert after < 200
    assert bench.alarm.setpoint == pytest.approx(10, abs=0.1)  # 4 + 1.2 x 5
    assert look.value is not None
    assert look.value < bench.alarm.setpoint


def test_it_says_what_is_expected_and_when() -> None:
    bench = Bench()
    while not bench.alarm.condition.active:
        bench.run(1 / 60, lambda _, n=bench.t: 1.2 * (n / MINUTE - 180))  # type: ignore[misc]
    look = bench.alarm.look
    assert look.expected is not None
    assert look.value is not None
    assert look.reaches is not None
    assert look.value < 4 < 10 <= look.expected
    assert bench.t < look.reaches <= bench.t + 6 * MINUTE


@pytest.mark.parametrize("level", [2, 5, 20])
def test_a_door_that_lifts_the_level_by_its_half_is_none(level: float) -> None:
    """It lets in air twice as dirty, at six changes an hour for five minutes, and is shut."""
    bench = Bench(level)
    kept = 2.718281828
    told = bench.run(5, lambda m: level * (1 - kept ** (-m / 10)))
    told += bench.run(30, lambda m: level * 0.39 * kept ** (-m / 60))
    assert told == []


def test_a_level_that_a_door_left_behind_does_not_count_as_the_next_source() -> None:
    """Half an hour later a small rise counts from the level that stays, not from the baseline."""
    bench = Bench(5)
    bench.run(40, lambda m: 3.4 * min(1.0, m / 40))
    look = bench.alarm.look
    assert look.value is not None
    assert look.value > 1
    bench.level = 8.4
    assert bench.run(4, lambda m: 0.5 * m) == []


@pytest.mark.parametrize("wild", [50, 500, 999])
def test_one_wild_reading_raises_nothing(wild: float) -> None:
    bench = Bench(noise=0.3)
    assert bench.show(wild) == []
    assert bench.run(10, lambda _: 0) == []


def test_noise_alone_raises_nothing_and_makes_it_later_not_deaf() -> None:
    calm, noisy = Bench(noise=0.1), Bench(noise=3.0)
    assert noisy.run(240, lambda _: 0) == []
    after = [bench.run(20, lambda m: 1.2 * m)[0] for bench in (calm, noisy)]
    assert [change for _, change in after] == ["raised", "raised"]
    assert after[0][0] < after[1][0] < 600


def test_a_slow_source_is_noticed_by_its_rise_over_five_minutes() -> None:
    bench = Bench(1)
    (after, change), *_ = bench.run(120, lambda minute: 0.12 * minute)
    assert change == "raised"
    look = bench.alarm.look
    assert 2000 < after < 5400, look


@pytest.mark.parametrize("level", [8, 15, 40])
def test_a_rise_of_ten_that_lasts_is_noticed_however_dirty_the_background(level: float) -> None:
    """Of 63 strong prints in rooms that were new, four in dirty air were never noticed."""
    bench = Bench(level)
    told = bench.run(60, lambda minute: min(11.0, 0.4 * minute))
    assert [change for _, change in told] == ["raised"]
    assert 25 * 60 < told[0][0] < 40 * 60
    (_, change), *_ = bench.run(60, lambda minute: max(0.0, 11 - minute))
    assert change == "cleared"


@pytest.mark.parametrize("level", [15, 40])
def test_what_a_door_brings_into_dirty_air_and_is_soon_gone_is_none(level: float) -> None:
    bench = Bench(level)
    assert bench.run(60, lambda minute: max(0.0, min(1.3 * minute, 19 - minute))) == []


def test_it_holds_until_the_air_is_clean_and_then_clears() -> None:
    bench = Bench()
    assert [c for _, c in bench.run(5, lambda m: 3 * m)] == ["raised"]
    assert bench.run(10, lambda _: 6) == []  # below the setpoint of 10, not below a third of it
    assert [c for _, c in bench.run(5, lambda _: 1)] == ["cleared"]


def test_without_readings_it_neither_expects_nor_clears() -> None:
    bench = Bench()
    bench.run(3, lambda m: 3 * m)
    assert bench.alarm.condition.active
    for _ in range(100):
        bench.t += MINUTE
        assert bench.alarm.evaluate(bench.t) == []
    assert bench.alarm.condition.active


def test_a_share_alone_makes_the_setpoint_grow() -> None:
    bench = Bench(10, ahead=0, setpoint=4, share=0.5, deadband=3)
    assert bench.run(5, lambda _: 8.5) == []
    assert [c for _, c in bench.run(2, lambda _: 9.5)] == ["raised"]
    assert bench.alarm.setpoint == pytest.approx(9, abs=0.3)


def test_it_looks_back_five_minutes() -> None:
    assert longest_window(rooms.alarm(compare="rise", **SHIPPED)) == 5 * MINUTE


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0, 300), min_size=1, max_size=200), st.integers(0, 150))
def test_what_it_saw_of_a_channel_is_all_in_the_channel(levels: list[float], cut: int) -> None:
    """A new alarm on the same channel expects the same, so a restart changes nothing."""
    bench = Bench(5, noise=0.5)
    other = Alarm("a", bench.alarm.settings, bench.channel)
    bench.run(6, lambda _: 0)
    other.restore(json.loads(json.dumps(bench.alarm.save())), 0)
    for n, level in enumerate(levels):
        told = bench.show(level)
        if n == cut:
            other.restore(json.loads(json.dumps(bench.alarm.save())), 0)
        if n > cut and n % 5 == 0:
            other.evaluate(bench.t)
            assert bench.alarm.look.mean == other.look.mean
        assert len(told) <= 2


@pytest.mark.parametrize("after", [30, 90, 150])
def test_after_a_restart_only_a_running_delay_begins_anew(after: int) -> None:
    """It takes over where the old one looks anew; the delay is carried over by hand."""
    bench, dice = Bench(5, noise=0.5), random.Random(after)
    bench.run(after / 60 - 1 / 60, lambda minute: 20 * minute)
    other = Alarm("a", bench.alarm.settings, bench.channel)
    other.restore(json.loads(json.dumps(bench.alarm.save())), 0)
    other.condition.due = bench.alarm.condition.due
    for _ in range(300):
        told = bench.show(5 + dice.choice([0, 20, 60, 217]))
        assert (other.evaluate(bench.t), other.look) == (told, bench.alarm.look)
        assert other.save() == bench.alarm.save()
