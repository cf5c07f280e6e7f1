"""What an alarm does over time: its dose, chattering, standing."""

import json
from typing import Any

import pytest

import rooms
from ventwright.alarms.alarm import Alarm
from ventwright.alarms.habits import STANDING_AFTER, Habits
from ventwright.keeper import restore as restoring
from ventwright.means.channel import Channel
from ventwright_drivers.quantities import QUANTITIES

SECOND, MINUTE, HOUR = 1000, 60_000, 3_600_000


class Bench:
    """An alarm without delays whose mean is the last reading."""

    def __init__(self, **changes: Any) -> None:
        quick = {"over": SECOND, "on_delay": 0, "off_delay": 0, **changes}
        self.channel = Channel("bench.pm2_5", QUANTITIES["pm2_5"], SECOND)
        self.alarm = Alarm("print", rooms.alarm(**quick), self.channel)
        self.t = 0

    def show(self, value: float, seconds: int = 1) -> list[str]:
        changes: list[str] = []
        for _ in range(seconds):
            self.t += SECOND
            self.channel.add(self.t, round(value * 10))
            changes += self.alarm.evaluate(self.t)
        return changes


def test_the_dose_of_a_mean_is_its_integral_since_the_condition_became_true() -> None:
    bench = Bench()
    bench.show(2, 100)
    bench.show(60, 1801)
    assert bench.alarm.dose == pytest.approx(30)
    assert bench.show(0) == ["cleared"]
    assert bench.alarm.dose == pytest.approx(30)


def test_the_dose_of_a_rise_is_over_the_baseline_at_its_begin() -> None:
    bench = Bench(compare="rise", setpoint=20)
    bench.show(10, 400)
    base = bench.channel.base
    assert base is not None
    bench.show(110, 3601)
    assert bench.alarm.dose == pytest.approx(110 - base, rel=0.01)


@pytest.mark.parametrize("compare", ["rate", "silence"])
def test_no_dose_is_told_of_what_is_no_concentration(compare: str) -> None:
    bench = Bench(compare=compare, setpoint=0.01, over=SECOND)
    bench.alarm.since = 0
    assert bench.alarm.dose is None


def test_a_dose_survives_a_restart_with_what_was_stored_since_it_was_saved() -> None:
    bench = Bench()
    bench.show(60, 601)
    saved = json.loads(json.dumps(bench.alarm.save()))
    other = Bench()
    times = [n * SECOND for n in range(1, 1202)]
    for some in (times[:300], times[300:]):
        restoring._load(other.channel, some, [600] * len(some), bench.t)
    other.alarm.restore(saved, 0)
    other.alarm.catch_up()
    assert other.alarm.dose == pytest.approx(20)


def test_what_versions_before_saved_is_taken_back_without_a_dose() -> None:
    bench = Bench()
    bench.show(60, 10)
    saved = bench.alarm.save()
    del saved["dose"], saved["habits"]
    other = Bench()
    other.alarm.restore(saved, 0)
    assert other.alarm.condition.active


def test_three_activations_in_a_minute_are_chattering_and_told_once() -> None:
    bench, told = Bench(), []
    for _ in range(10):
        told += bench.show(12) + bench.show(2)
    assert told.count("chattering") == 1
    assert told[:6] == ["raised", "cleared", "raised", "cleared", "raised", "chattering"]


@pytest.mark.parametrize(("gap", "chatters"), [(HOUR // 4, True), (HOUR // 4 + 1, False)])
def test_five_activations_in_an_hour_are_chattering(gap: int, chatters: bool) -> None:
    habits = Habits()
    told = [habits.raised(n * gap) for n in range(5)]
    assert (told[-1] == ["chattering"]) is chatters


@pytest.mark.parametrize(("gap", "chatters"), [(MINUTE // 2, True), (MINUTE // 2 + 1, False)])
def test_three_in_a_minute_at_equality(gap: int, chatters: bool) -> None:
    habits = Habits()
    told = [habits.raised(n * gap) for n in range(3)]
    assert (told[-1] == ["chattering"]) is chatters


def test_chattering_ends_after_an_hour_of_calm_and_is_told_again_then() -> None:
    habits = Habits()
    assert [habits.raised(n) for n in range(3)][-1] == ["chattering"]
    assert habits.chattering(HOUR + 1)
    assert not habits.chattering(HOUR + 2)
    assert habits.raised(2 * HOUR) == []
    assert habits.raised(2 * HOUR + 1) == []
    assert habits.raised(2 * HOUR + 2) == ["chattering"]


def test_standing_is_told_once_an_episode_and_not_while_set_aside() -> None:
    bench = Bench()
    bench.channel.add(1000, 120)
    assert bench.alarm.evaluate(1000) == ["raised"]
    assert bench.alarm.evaluate(1000 + STANDING_AFTER - 1) == []
    assert bench.alarm.evaluate(1000 + STANDING_AFTER) == ["standing"]
    assert bench.alarm.evaluate(1000 + 2 * STANDING_AFTER) == []
    assert bench.alarm.habits.standing(active=True)
