"""The baseline: a print never becomes it, a slow change does, and it knows how well it is known."""

import json
import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventwright.means.baseline import MINUTE_MS, Baseline
from ventwright.means.channel import Channel
from ventwright.means.swings import _SWINGS, swing_of
from ventwright_drivers.quantities import QUANTITIES

HOUR = 60
DAY = 24 * HOUR
SWING = 40.0  # PM2.5, steps of 0.1 µg/m³


def learned(minutes: int, mean: Callable[[int], float], swing: float = SWING) -> Baseline:
    baseline = Baseline(swing)
    for minute in range(minutes):
        baseline.learn(mean(minute))
    return baseline


def known(baseline: Baseline) -> float:
    assert baseline.steps is not None
    return baseline.steps


@pytest.mark.parametrize("hours", [1, 8, 14, 19, 23])
@pytest.mark.parametrize("start", [4, 12, 20])
def test_a_print_of_up_to_23_hours_never_becomes_the_baseline(hours: int, start: int) -> None:
    baseline, dice = Baseline(SWING), random.Random(1)
    for minute in range(4 * DAY):
        printing = 24 + start <= minute / HOUR < 24 + start + hours
        baseline.learn((400 if printing else 30) + dice.uniform(-5, 5))
        if minute > DAY:
            assert 25 < known(baseline) < 35


@pytest.mark.parametrize("minutes", [5, 20, 60])
def test_not_even_the_beginning_of_a_print_is_learned(minutes: int) -> None:
    ramp = 100 / minutes
    baseline = learned(DAY, lambda _: 30.0)
    for minute in range(14 * HOUR):
        baseline.learn(30 + min(100.0, ramp * minute))
    assert known(baseline) == pytest.approx(30, abs=0.1)
    assert baseline.held > 13 * HOUR


def test_a_print_of_14_hours_every_day_for_a_week_is_never_learned() -> None:
    baseline = Baseline(SWING)
    for minute in range(7 * DAY):
        baseline.learn(230 if 6 <= minute / HOUR % 24 < 20 else 30)
        assert baseline.steps is None or known(baseline) == 30


def test_what_has_stood_for_more_than_a_day_becomes_the_baseline() -> None:
    step = learned(2 * DAY + 2 * HOUR, lambda minute: 30 if minute < DAY else 200)
    assert known(step) == 200
    assert step.held == 0
    assert known(learned(2 * DAY - 1, lambda minute: 30 if minute < DAY else 200)) == 30


def test_a_drift_of_2_units_an_hour_is_followed_within_its_uncertainty() -> None:
    baseline = learned(3 * DAY, lambda minute: 30 + 20 / HOUR * min(minute, 8 * HOUR))
    assert known(baseline) == pytest.approx(190, abs=1)
    on_the_way = learned(8 * HOUR, lambda minute: 30 + 20 / HOUR * minute)
    assert 190 - 25 < known(on_the_way) < 190
    assert on_the_way.held == 0
    assert 190 - known(on_the_way) < 2 * on_the_way.sigma


def test_a_room_that_fills_with_formaldehyde_by_itself_is_no_episode() -> None:
    """About 20 µg/m³ in two hours without ventilation and without any source: common practice."""
    quantity = QUANTITIES["hcho"]
    baseline = Baseline(swing_of(quantity))
    for minute in range(DAY + 4 * HOUR):
        filling = min(max(minute - DAY, 0), 2 * HOUR) / (2 * HOUR)
        baseline.learn((15 + 20 * filling) * quantity.per_unit)
        assert baseline.held == 0
    assert known(baseline) > 34 * quantity.per_unit


def test_cleaner_air_is_followed_within_the_half_hour() -> None:
    baseline = learned(DAY + 35, lambda minute: 200 if minute < DAY else 30)
    assert known(baseline) < 50


def test_a_print_at_the_first_start_corrects_itself_and_is_young_meanwhile() -> None:
    baseline = learned(6 * HOUR, lambda _: 500)
    assert known(baseline) == 500
    assert baseline.young
    for _ in range(HOUR):
        baseline.learn(30)
    assert known(baseline) < 40


def test_it_is_unknown_for_five_minutes_and_young_for_a_day() -> None:
    assert learned(4, float).steps is None
    assert learned(5, lambda _: 7.0).steps == 7
    assert learned(DAY - 1, float).young
    assert not learned(DAY, float).young


def test_it_is_not_below_the_middle_of_quiet_noise() -> None:
    dice = random.Random(4)
    baseline = learned(2 * DAY, lambda _: 50 + dice.gauss(0, 4))
    assert known(baseline) == pytest.approx(50, abs=2)


def test_its_uncertainty_is_that_of_quiet_air_and_grows_while_it_holds() -> None:
    calm = learned(3 * DAY, lambda _: 50.0)
    assert calm.sigma < 1.0
    dice, level = random.Random(5), [50.0]
    for _ in range(4 * DAY):
        level.append(50 + 0.98 * (level[-1] - 50) + dice.gauss(0, 2))
    moving = learned(len(level), level.__getitem__)
    assert 5 < moving.sigma < 15
    before = moving.sigma
    for _ in range(8 * HOUR):
        moving.learn(500)
    assert 2.5 * before < moving.sigma < 3.5 * before


def test_the_noise_of_a_mean_falls_with_the_root_of_its_window() -> None:
    dice = random.Random(6)
    baseline = learned(3 * DAY, lambda _: 50 + dice.gauss(0, 3))
    assert baseline.noise(MINUTE_MS) == pytest.approx(3, rel=0.1)
    assert baseline.noise(4 * MINUTE_MS) == pytest.approx(1.5, rel=0.1)


def fed(channel: Channel, t: int, seconds: int, value: Callable[[int], int]) -> int:
    for _ in range(seconds):
        t += 1000
        channel.add(t, value(t))
    return t


def bench() -> Channel:
    return Channel("bench.pm2_5", QUANTITIES["pm2_5"], 1000)


def test_a_part_that_counts_in_whole_units_is_not_known_better_than_that() -> None:
    dice, coarse, fine = random.Random(7), bench(), bench()
    fed(coarse, 0, 6 * 3600, lambda _: 10 * dice.choice([4, 5]))
    fed(fine, 0, 6 * 3600, lambda _: dice.choice([44, 45, 46]))
    assert coarse.base_sigma is not None
    assert fine.base_sigma is not None
    assert coarse.base_sigma >= 1 / 12**0.5
    assert fine.base_sigma < coarse.base_sigma


def test_the_uncertainty_of_a_rise_holds_noise_and_baseline() -> None:
    dice, channel = random.Random(8), bench()
    assert channel.rise_sigma(30_000) is None
    fed(channel, 0, 6 * 3600, lambda _: dice.choice([30, 40, 50, 60]))
    assert channel.base_sigma is not None
    whole = channel.rise_sigma(30_000)
    assert whole is not None
    assert whole**2 == pytest.approx(
        channel.base_sigma**2 + (channel.baseline.noise(30_000) / 10) ** 2
    )


def test_minutes_are_learned_from_the_running_sums() -> None:
    channel = bench()
    fed(channel, 0, 6 * 60 + 1, lambda t: 100 + (t // 1000 - 1) // 60)
    assert channel.baseline.steps == pytest.approx(102, abs=0.1)


@pytest.mark.parametrize(("covered", "known"), [(29, False), (31, True)])
def test_a_minute_that_is_hardly_covered_teaches_nothing(covered: int, known: bool) -> None:
    channel = bench()
    for minute in range(1, 8):
        for second in range(1, covered + 1):
            channel.add(minute * MINUTE_MS + second * 1000, 50)
    assert (channel.baseline.steps is not None) is known


def test_after_a_night_without_power_the_air_may_stand_higher() -> None:
    """Up to twice the swing is taken for the room; without a pause it would be an episode."""
    baseline = learned(DAY, lambda _: 30.0)
    at_once = learned(DAY, lambda _: 30.0)
    baseline.pause(9 * HOUR)
    for _ in range(2 * HOUR):
        baseline.learn(100)
        at_once.learn(100)
    assert at_once.held > HOUR
    assert known(baseline) > 90


def test_a_gap_in_the_readings_is_a_pause() -> None:
    channel = bench()
    t = fed(channel, 0, 86_400, lambda _: 30)
    before = channel.base_sigma
    fed(channel, t + 9 * 3_600_000, 120, lambda _: 30)
    assert before is not None
    assert channel.base_sigma is not None
    assert channel.base_sigma > before


def test_the_saved_state_is_small_and_plain() -> None:
    dice, channel = random.Random(9), bench()
    fed(channel, 0, 90_000, lambda _: dice.randrange(30, 60))
    assert len(json.dumps(channel.save_baseline())) < 1200


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 20_000), st.integers(0, 900), st.integers(0, 2**32))
def test_a_restart_changes_nothing(until: int, stored_later: int, seed: int) -> None:
    """Saved some time before the end, fed with what was stored: as if it had gone on."""
    dice = random.Random(seed)
    readings = [(700 * n, dice.randrange(30, 90) + n // 300) for n in range(1, until + 1)]
    whole, early = bench(), bench()
    saved_at = max(0, len(readings) - stored_later)
    whole.load([t for t, _ in readings], [s for _, s in readings])
    early.load([t for t, _ in readings[:saved_at]], [s for _, s in readings[:saved_at]])
    saved = json.loads(json.dumps(early.save_baseline()))
    again = bench()
    again.restore_baseline(saved, readings[saved_at - 1][0] if saved_at else 0)
    again.load([t for t, _ in readings], [s for _, s in readings])
    again.resume()
    later = [(readings[-1][0] + 700 * n, 40) for n in range(1, 400)]
    for channel in (whole, again):
        channel.load([t for t, _ in later], [s for _, s in later])
    assert again.save_baseline() == whole.save_baseline()


def test_on_another_clock_it_goes_on_after_an_unknown_pause() -> None:
    one, other = bench(), bench()
    fed(one, 0, 7200, lambda _: 30)
    other.restore_baseline(one.save_baseline(), None)
    other.resume()
    assert other.base == one.base
    fed(other, 0, 7200, lambda _: 100)
    assert other.base == pytest.approx(10, abs=0.6)


def test_every_quantity_has_a_swing_of_its_own() -> None:
    assert set(_SWINGS) == set(QUANTITIES)
    for quantity in QUANTITIES.values():
        assert swing_of(quantity) > 0
