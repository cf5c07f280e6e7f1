from itertools import pairwise

import pytest

from ventwright.rehearsal.emission import Print, Spell, label_at, rates_at
from ventwright.rehearsal.room import Pollutant, Room

PRINT = Print(600, 3600, burst={"fine": 45_000}, plateau={"fine": 4000}, always={"heat": 300})


def test_phases_follow_each_other_without_a_gap() -> None:
    spells = PRINT.spells()
    assert (spells[0].begins, spells[-1].ends) == (600, 4200)
    assert all(a.ends == b.begins and a.begins < a.ends for a, b in pairwise(spells))


def test_rates_in_each_phase() -> None:
    spells = PRINT.spells()
    seen = {
        second: rates_at(spells, second).get("fine", 0.0) for second in (599, 600, 660, 840, 1380)
    }
    assert seen == {599: 0.0, 600: 0.0, 660: 45_000, 840: pytest.approx(400), 1380: 4000}
    assert rates_at(spells, 2000)["heat"] == 300
    assert rates_at(spells, 4200) == {}


def test_rates_of_everything_that_emits_add_up() -> None:
    spells = (Spell("one", 0, 10, {"co2": 5.0}), Spell("two", 5, 10, {"co2": 7.0}))
    assert [rates_at(spells, s).get("co2") for s in (0, 5, 10)] == [5.0, 12.0, None]


def test_label_is_that_of_the_first() -> None:
    assert label_at(PRINT.spells(), 700) == "purge and first layer"
    assert label_at(PRINT.spells(), 0) == ""


def test_spike_then_dip_then_slow_accumulation() -> None:
    """Common practice, no source: the shape of a print in a room without extraction."""
    room = Room(45, 0.5, [Pollutant("fine", surface_rate=0.4)])
    course = []
    for second in range(4200):
        room.sources = rates_at(PRINT.spells(), second)
        room.advance(1)
        course.append(room.levels["fine"])
    peak = max(course[600:960])
    dip = min(course[960:1500])
    assert course.index(peak) - 600 < 300
    assert course[599] == 0
    assert dip < 0.93 * peak
    assert course[-1] > 1.1 * dip
    assert all(later > earlier for earlier, later in pairwise(course[1500::60]))
