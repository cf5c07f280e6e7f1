"""Clearance of extractor runs: found within its interval, not invented where there is none."""

import random
from math import exp

import pytest

from ventwright.averaging.course import Course
from ventwright.reporting.clearances import clearance_told, clearances
from ventwright.reporting.happenings import Commissioned, Run
from ventwright_drivers.quantities import QUANTITIES

MINUTE = 60_000
RATE = 2.6


def aired(rates: list[float], seed: int = 1, to: float = 5.0) -> tuple[Course, list[Run]]:
    """Make a course of runs: 60 min at 40, then 60 min that fall by a rate to a level."""
    dice = random.Random(seed)
    course = Course("bench.pm2_5", QUANTITIES["pm2_5"], 0, 240 * len(rates))
    runs = []
    for number, rate in enumerate(rates):
        first = 240 * number
        for n in range(240):
            level = 40.0 if n < 60 else to + (40 - to) * exp(-rate * (n - 60) / 60)
            course.put(first + n, level * (1 + dice.gauss(0, 0.02)) + dice.gauss(0, 0.2), 1)
        runs.append(Run("fan", (first + 10) * MINUTE, "print", (first + 120) * MINUTE))
    return course, runs


def test_the_rate_lies_in_its_interval_nine_times_of_ten() -> None:
    course, runs = aired([RATE] * 40)
    found = list(clearances(course, runs, course.count * MINUTE))
    assert len(found) >= 36
    inside = sum(one.decay.low <= RATE <= one.decay.high for one in found)
    assert inside >= 0.9 * len(found)


def test_a_weak_extractor_shows_beside_what_was_commissioned() -> None:
    course, runs = aired([3.0] * 4 + [1.8] * 4)
    body = {"clearance": 3.0, "clearance_error": 0.1}
    found = list(clearances(course, runs, course.count * MINUTE))
    told = clearance_told(found, [Commissioned("fan", 0, body)])
    assert told["share"] == pytest.approx(0.8, abs=0.08)
    assert "slower of late, 1.8 1/h after 3.0 1/h" in told["words"]
    assert len(told["runs"]) == 8


@pytest.mark.parametrize("rate", [0.0, 0.05])
def test_what_does_not_fall_says_nothing(rate: float) -> None:
    course, runs = aired([rate] * 3)
    assert not list(clearances(course, runs, course.count * MINUTE))
    assert clearance_told([], [])["words"] == ""


def test_a_straight_fall_is_no_decay() -> None:
    course = Course("bench.pm2_5", QUANTITIES["pm2_5"], 0, 120)
    for n in range(120):
        course.put(n, 40 - n / 4, 1)
    assert not list(clearances(course, [Run("fan", 0, "", 120 * MINUTE)], 120 * MINUTE))
