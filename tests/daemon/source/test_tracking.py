"""The tracked zone: exact air gives exact estimates, noise and failing fans are told apart."""

import json
import math
import random

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from ventwright.source.bank import Bank
from ventwright.source.contest import Contest
from ventwright.source.rates import Assumed, commissioned, unmeasured
from ventwright.source.recovery import hours_to, recovery
from ventwright.source.tracking import Step

STEP_H = 20 / 3600


def bank(assumed: Assumed, level: float = 0.0) -> Bank:
    return Bank(assumed, (level, 0.0, 1.0, 0.0, 400.0), (0.9, 0.05, 0.05), 0.0, (1.0, 2.0))


class Zone:
    """Air at an exact rate and inflow, shown as means over steps with noise."""

    def __init__(self, rate: float, level: float = 0.0, noise: float = 0.1) -> None:
        self.rate, self.level, self.inflow, self.noise = rate, level, 0.0, noise
        self.chance = random.Random(5)

    def step(self) -> Step:
        rest, kept = self.inflow / self.rate, math.exp(-self.rate * STEP_H)
        share = (1 - kept) / (self.rate * STEP_H)
        mean = rest + (self.level - rest) * share + self.chance.gauss(0, self.noise)
        self.level = rest + (self.level - rest) * kept
        wild = max(20.0, 2 * self.inflow) ** 2
        return Step(STEP_H, mean, self.noise**2 + 1e-4, STEP_H / 2, 0.0, 0.1, wild, 1e-4, 36 * wild)


def run(followed: Bank, zone: Zone, steps: int) -> None:
    for _ in range(steps):
        followed.step(zone.step())


def test_an_even_source_is_found_with_its_strength_and_doubt() -> None:
    followed, zone = bank(commissioned(1.0, 0.0, 0.05)), Zone(1.0)
    run(followed, zone, 90)
    assert followed.estimate().quiet > 0.95
    zone.inflow = 200.0
    run(followed, zone, 60)
    seen = followed.estimate()
    assert seen.quiet < 0.05
    assert abs(seen.inflow - 200) < 3 * seen.inflow_sigma
    assert seen.inflow_sigma < 40
    zone.inflow = 0.0
    run(followed, zone, 15)
    assert followed.estimate().quiet > 0.8


def contest(assumed: Assumed, level: float = 0.0) -> Contest:
    return Contest(assumed, (level, 0.0, 1.0, 0.0, 400.0), 0.0, (1.0, 2.0), 7.0)


@pytest.mark.parametrize(("flow", "low"), [(1.0, False), (0.9, False), (0.5, True), (0.1, True)])
def test_a_decay_shows_how_much_of_the_clearance_is_there(flow: float, low: bool) -> None:
    fan = commissioned(1.0, 5.0, 0.05)
    rival, zone = contest(fan, 60.0), Zone(1.0 + 5.0 * flow, level=60.0)
    contend(rival, zone, 45)
    found = rival.found()
    assert found is not None
    share, sigma, weak = found
    assert (weak > 0.92) is low
    assert abs(share - flow) < max(0.11, 3 * sigma)


def contend(rival: Contest, zone: Zone, steps: int, rise: float = 0.0) -> None:
    for _ in range(steps):
        rival.step(zone.step())
        zone.inflow = max(0.0, zone.inflow + rise * STEP_H)


def extracting(zone: Zone, before: int, inflow: float, rise: float = 0.0) -> Contest:
    """Let a source emit in a room without extraction, then switch a good fan on."""
    rival = contest(commissioned(1.0, 0.0, 0.05))
    contend(rival, zone, 60)
    zone.inflow = inflow
    contend(rival, zone, before, rise)
    rival.turn(commissioned(1.0, 5.0, 0.05), 0.0)
    zone.rate = 6.0
    return rival


@pytest.mark.parametrize("strength", [60.0, 200.0, 1500.0])
def test_a_source_that_goes_on_is_no_failing_fan(strength: float) -> None:
    rival = extracting(zone := Zone(1.0), 15, strength)
    contend(rival, zone, 180)
    assert rival.found()[2] < 0.5  # type: ignore[index]
    assert rival.quiet < 0.1


@pytest.mark.parametrize("rise", [400.0, 1500.0])
def test_a_source_that_grows_is_no_failing_fan(rise: float) -> None:
    rival = extracting(zone := Zone(1.0), 40, 0.0, rise)
    for _ in range(90):
        contend(rival, zone, 1, rise)
        assert rival.found()[2] < 0.92  # type: ignore[index]


def test_a_second_source_that_joins_is_no_failing_fan() -> None:
    rival = extracting(zone := Zone(1.0), 15, 200.0)
    contend(rival, zone, 20)
    zone.inflow = 600.0
    for _ in range(90):
        contend(rival, zone, 1)
        assert rival.found()[2] < 0.92  # type: ignore[index]


def test_the_end_of_a_source_is_dated_to_where_it_was() -> None:
    rival = extracting(zone := Zone(1.0), 15, 200.0)
    contend(rival, zone, 60)
    zone.inflow = 0.0
    contend(rival, zone, 15)
    assert rival.quiet > 0.8
    assert rival.age == pytest.approx(15 * STEP_H, abs=2 * STEP_H)


def test_a_contest_goes_on_after_a_restart_as_if_there_had_been_none() -> None:
    one = extracting(zone := Zone(1.0), 15, 200.0, 300.0)
    contend(one, zone, 20)
    two = Contest.restored(json.loads(json.dumps(one.save())), (1.0, 2.0), 7.0)
    for _ in range(20):
        step = zone.step()
        one.step(step)
        two.step(step)
    assert two.found() == pytest.approx(one.found(), rel=1e-3, abs=1e-5)
    assert two.quiet == pytest.approx(one.quiet, abs=1e-4)


def test_without_commissioning_the_rate_is_learned_from_decays() -> None:
    followed, zone = bank(unmeasured(True, None), 80.0), Zone(4.7, level=80.0)
    before = followed.estimate().rate_sigma
    run(followed, zone, 60)
    seen = followed.estimate()
    assert seen.rate_sigma < before / 2
    assert abs(seen.rate - 4.7) < 1.0
    again = unmeasured(True, followed.weights)
    assert max(again.chances) == again.chances[again.rates.index(4.7)]
    assert min(again.chances) > 0.001, "nothing is ever taken for impossible"


def test_a_leap_that_nothing_explains_leaves_the_estimate_alive() -> None:
    followed, zone = bank(commissioned(1.0, 0.0, 0.05)), Zone(1.0)
    run(followed, zone, 30)
    zone.level = 5000.0
    run(followed, zone, 10)
    seen = followed.estimate()
    assert seen.level == pytest.approx(zone.level, rel=0.02)
    assert sum(followed.chances()) == pytest.approx(1.0)


def test_it_goes_on_after_a_restart_as_if_there_had_been_none() -> None:
    one, zone = bank(commissioned(1.0, 5.0, 0.05)), Zone(6.0, level=40.0)
    run(one, zone, 20)
    two = Bank.restored(json.loads(json.dumps(one.save())))
    for _ in range(20):
        step = zone.step()
        one.step(step)
        two.step(step)
    assert two.estimate() == pytest.approx(one.estimate(), rel=1e-5, abs=1e-4)


def test_hours_to_a_level_are_those_of_the_formula() -> None:
    assert hours_to(40.0, 10.0, 2.0, 0.0, 0.0) == pytest.approx(math.log(4) / 2)
    assert hours_to(40.0, 10.0, 2.0, 10.0, 0.0) == pytest.approx(math.log(7) / 2)
    assert hours_to(40.0, 4.0, 2.0, 10.0, 0.0) is None
    assert hours_to(2.0, 4.0, 2.0, 6.0, 0.0) == 0.0
    later = hours_to(40.0, 10.0, 2.0, 0.0, 0.1)
    assert later == pytest.approx(math.log(4) / 2 + 0.05, abs=0.002)


def test_recovery_has_an_interval_around_what_happens() -> None:
    followed, zone = bank(commissioned(1.0, 5.0, 0.05), 60.0), Zone(6.0, level=60.0)
    run(followed, zone, 20)
    clear = recovery(followed, 8.0, 1 / 60, 0.1)
    assert clear is not None
    true = math.log(zone.level / 8.0) / 6.0 + 0.5 / 60
    assert clear.first < true < clear.last
    assert clear.about == pytest.approx(true, rel=0.15)


def test_what_may_never_clear_is_not_promised() -> None:
    followed, zone = bank(commissioned(1.0, 5.0, 0.05), 60.0), Zone(6.0, level=60.0)
    run(followed, zone, 20)
    assert recovery(followed, 0.01, 1 / 60, 0.1) is None


def test_a_fan_that_was_good_for_long_is_still_found_weak_in_the_end() -> None:
    """The filter clogs while a print goes on; its end shows it."""
    rival = extracting(zone := Zone(1.0), 15, 600.0)
    for _ in range(10):
        contend(rival, zone, 60)
        zone.inflow = 600.0 - zone.inflow  # a source that comes and goes shows a good fan
    assert rival.found()[2] < 1e-6  # type: ignore[index]
    zone.rate = 3.0
    for _ in range(4):
        contend(rival, zone, 60)
        zone.inflow = 600.0 - zone.inflow
    assert rival.found()[2] > 0.95  # type: ignore[index]


leaps = st.lists(st.tuples(st.floats(-50.0, 20_000.0), st.integers(1, 300)), max_size=40)


@settings(max_examples=40, deadline=None)
@given(leaps, st.integers(0, 40), st.floats(0.001, 30.0))
@example([(0.0, 1)], 0, 2.0)
def test_no_air_whatever_breaks_the_contest(
    shown: list[tuple[float, int]], turned: int, noise: float
) -> None:
    rival, before = contest(commissioned(1.0, 0.0, 0.05)), 0.0
    for n, (value, seconds) in enumerate(shown):
        if n == turned:
            rival.turn(commissioned(1.0, 5.0, 0.05), 2.0)
        hours = seconds / 3600
        wild = max(20.0, abs(value - before) / hours) ** 2
        late = hours / 2, 8 / 3600
        rival.step(Step(hours, value, noise**2, *late, 0.1, wild, 1e-4, 36 * wild))
        before = value
        assert 0.0 <= rival.quiet <= 1.0
        found = rival.found()
        assert found is None or all(math.isfinite(one) for one in found)
