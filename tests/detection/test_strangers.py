"""Rooms of another builder through the real command: short form of `detection.strange_weeks`."""

import numpy as np
import pytest

from detection.score import STRONG
from detection.strange_weeks import Found, Task, run, table
from detection.strangers import HOUSES, House, live

RARE = [house for house in HOUSES if house.logger.every >= 300]


@pytest.fixture(scope="module", params=RARE, ids=lambda house: house.name)
def found(request: pytest.FixtureRequest) -> list[Found]:
    return [run(Task(request.param, 1, 3, printing)) for printing in (False, True)]


def test_no_strong_print_is_missed_where_rows_are_rare(found: list[Found]) -> None:
    strong = [one for one in found[1].prints if one.one.strength >= STRONG]
    assert len(strong) >= 2
    assert None not in [one.delay for one in strong]


def test_nobody_is_blind_between_two_rare_rows(found: list[Found]) -> None:
    assert found[0].fan_hours < 24
    assert any("hood is called blind after" in note for note in found[0].notes)
    print("".join(table(found)))


@pytest.mark.parametrize("house", RARE[:1], ids=lambda house: house.name)
def test_a_print_adds_to_its_worst_hour_what_its_strength_says(house: House) -> None:
    days = live(house, 1, 2, True)
    without = live(house, 1, 2, False)
    assert without.prints == []
    one = days.prints[0]
    early = (days.t >= one.begins) & (days.t < days.prints[1].begins)
    hour = np.convolve(days.level - days.bare, np.ones(720) / 720)[: len(days.t)][early]
    assert hour.max() >= 0.9 * one.strength
