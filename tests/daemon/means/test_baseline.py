"""The baseline: a print never becomes it, a slow drift does, and it says when it is young."""

import random
from collections.abc import Callable

import pytest

from ventwright.means.baseline import MINUTE_MS, Baseline
from ventwright.means.channel import Channel
from ventwright_drivers.quantities import QUANTITIES

HOUR = 60


def learned(minutes: int, mean: Callable[[int], float]) -> Baseline:
    baseline = Baseline()
    for minute in range(minutes):
        baseline.learn(mean(minute))
    return baseline


@pytest.mark.parametrize("hours", [1, 8, 15, 19])
@pytest.mark.parametrize("start", [4, 12, 20])
def test_a_print_of_up_to_19_hours_never_becomes_the_baseline(hours: int, start: int) -> None:
    baseline, dice = Baseline(), random.Random(1)
    for minute in range(48 * HOUR):
        printing = 24 + start <= minute / HOUR < 24 + start + hours
        baseline.learn((400 if printing else 30) + dice.uniform(-5, 5))
        if minute > 24 * HOUR:
            assert baseline.steps is not None
            assert baseline.steps < 40


def test_a_day_long_change_does_become_the_baseline() -> None:
    baseline = learned(48 * HOUR, lambda minute: 30 if minute < 24 * HOUR else 200)
    assert baseline.steps == 200


def test_a_slow_drift_is_followed_within_the_day() -> None:
    rate = 100 / (24 * HOUR)  # steps a minute
    baseline = learned(72 * HOUR, lambda minute: rate * minute)
    now = rate * 72 * HOUR
    assert baseline.steps is not None
    assert now - 100 <= baseline.steps < now


def test_it_is_unknown_for_five_minutes_and_young_for_three_hours() -> None:
    assert learned(4, float).steps is None
    assert learned(5, lambda _: 7.0).steps == 7
    assert learned(3 * HOUR - 1, float).young
    assert not learned(3 * HOUR, float).young


def test_it_is_the_same_as_sorting_the_last_day_every_time() -> None:
    baseline, dice, kept = Baseline(), random.Random(2), []
    for _ in range(2000):
        kept.append(dice.randrange(50))
        baseline.learn(kept[-1])
    day = sorted(kept[-24 * HOUR :])
    assert baseline.steps == day[int(0.2 * (len(day) - 1))]


def test_minutes_are_learned_from_the_running_sums() -> None:
    channel = Channel("bench.pm2_5", QUANTITIES["pm2_5"], 1000)
    for second in range(6 * 60 + 1):
        channel.add(second * 1000, 100 + second // 60)
    assert channel.baseline.steps == 101  # the second lowest of 100 to 105


@pytest.mark.parametrize(("covered", "known"), [(29, False), (31, True)])
def test_a_minute_that_is_hardly_covered_teaches_nothing(covered: int, known: bool) -> None:
    channel = Channel("bench.pm2_5", QUANTITIES["pm2_5"], 1000)
    for minute in range(1, 8):
        for second in range(1, covered + 1):
            channel.add(minute * MINUTE_MS + second * 1000, 50)
    assert (channel.baseline.steps is not None) is known


def test_learning_a_stored_day_gives_the_baseline_at_once() -> None:
    assert learned(24 * HOUR, lambda minute: 30 + minute % 3).steps == 30
