"""The tracked zone: exact air gives exact estimates, noise and failing fans are told apart."""

import json
import math
import random

import pytest

from ventwright.source.bank import Bank
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
        return Step(STEP_H, mean, self.noise**2 + 1e-4, STEP_H / 2, 0.1, wild, 1e-4)


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


@pytest.mark.parametrize(("flow", "low"), [(1.0, False), (0.9, False), (0.5, True), (0.1, True)])
def test_a_decay_shows_how_much_of_the_clearance_is_there(flow: float, low: bool) -> None:
    followed, zone = bank(commissioned(1.0, 5.0, 0.05), 60.0), Zone(1.0 + 5.0 * flow, level=60.0)
    run(followed, zone, 45)
    share, sigma = followed.moments(followed.assumed.shares)
    assert (followed.below(0.75) > 0.85) is low
    assert abs(share - flow) < max(0.1, 3 * sigma)


def test_a_source_that_goes_on_is_no_failing_fan() -> None:
    followed, zone = bank(commissioned(1.0, 5.0, 0.05)), Zone(6.0, level=30.0)
    zone.inflow = 180.0
    run(followed, zone, 180)
    assert followed.below(0.75) < 0.5


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
