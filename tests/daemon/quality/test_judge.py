"""Every mark is caused once, at its very edge, and by nothing else."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.quality.judge import STUCK_AFTER_MS, ZERO_STUCK_AFTER_MS, Judge, PartKind
from ventwright.quality.marks import Quality
from ventwright_drivers.part import Sample
from ventwright_drivers.quantities import QUANTITIES

MASS = ("pm1", "pm2_5", "pm4", "pm10")
COUNTS = ("n0_3", "n0_5", "n1")
WARM_UP = 30_000
Q = Quality


def judge(quantities: tuple[str, ...] = MASS, optical: bool = True) -> Judge:
    made = Judge(PartKind("part", quantities, 1000, 10_000, WARM_UP, optical))
    made.begin(0)
    return made


def marks(found: Judge, t: int, *values: float | None, fault: str = "") -> list[Quality]:
    return [Quality(m) for m in found.judge(t, Sample(values, fault))[1]]


def test_good_values_become_whole_steps() -> None:
    assert judge().judge(WARM_UP, Sample((1, 2.04, 2.06, 10))) == ((10, 20, 21, 100), bytes(4))


def test_it_warms_up_to_the_millisecond_and_again_after_every_start() -> None:
    found = judge()
    assert marks(found, WARM_UP - 1, 1, 2, 3, 4) == [Q.WARMING_UP] * 4
    assert marks(found, WARM_UP, 1, 2, 3, 4) == [Q.GOOD] * 4
    found.begin(100_000)
    assert marks(found, 100_000 + WARM_UP - 1, 1, 2, 3, 4) == [Q.WARMING_UP] * 4


def test_a_part_that_was_never_started_is_cold() -> None:
    found = Judge(PartKind("part", MASS, 1000, 10_000, 0, optical=False))
    assert marks(found, 10**12, 1, 2, 3, 4) == [Q.WARMING_UP] * 4


def test_a_fault_that_the_part_reports_fails_all() -> None:
    assert marks(judge(), WARM_UP, 1, 2, 3, 4, fault="fan") == [Q.FAILED] * 4


COMBINED = ("pm2_5", "pm10", "temperature", "voc_index")
SLOW = PartKind("part", COMBINED, 1000, 10_000, WARM_UP, True, {"voc_index": 3_600_000})


@pytest.mark.parametrize(
    ("failed", "wanted"),
    [
        ({"temperature"}, [Q.GOOD, Q.GOOD, Q.FAILED, Q.GOOD]),
        ({"pm2_5", "pm10"}, [Q.FAILED, Q.FAILED, Q.GOOD, Q.GOOD]),
        ({"co2"}, [Q.GOOD] * 4),
        (None, [Q.FAILED] * 4),
    ],
)
def test_a_fault_fails_what_it_concerns(failed: set[str] | None, wanted: list[Quality]) -> None:
    found = judge(COMBINED)
    sample = Sample((1, 2, 20, 100), "ails", None if failed is None else frozenset(failed))
    assert [Q(mark) for mark in found.judge(WARM_UP, sample)[1]] == wanted
    assert marks(found, WARM_UP + 1, 1, 2, 20, 100) == [Q.GOOD] * 4


def test_a_quantity_may_take_longer_to_settle_than_its_part() -> None:
    found = Judge(SLOW)
    found.begin(1000)
    settled = 1000 + 3_600_000
    assert marks(found, 999 + WARM_UP, 1, 2, 20, None) == [Q.WARMING_UP] * 4
    assert marks(found, settled - 1, 1, 3, 20, None) == [Q.GOOD] * 3 + [Q.WARMING_UP]
    assert marks(found, settled, 1, 2, 20, 100) == [Q.GOOD] * 4
    assert found.warm_for("voc_index") == settled
    assert found.warm_for("pm10") == found.warm_until == 1000 + WARM_UP


def test_a_fault_of_what_still_settles_is_a_fault() -> None:
    found = Judge(SLOW, ("pm2_5", "voc_index"))
    found.begin(0)
    sample = Sample((1, 2, 20, 100), "gas element", frozenset(("voc_index",)))
    assert list(found.judge(WARM_UP, sample)[1]) == [Q.GOOD, Q.FAILED]


@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf, 1e12, -1e300])
def test_what_is_no_number_fails_alone_and_has_no_step(value: float | None) -> None:
    steps, found = judge().judge(WARM_UP, Sample((1, value, 3, 4)))
    assert steps == (10, None, 30, 40)
    assert list(found) == [Q.GOOD, Q.FAILED, Q.GOOD, Q.GOOD]


@pytest.mark.parametrize("name", QUANTITIES)
def test_the_range_includes_its_ends(name: str) -> None:
    found, q = judge((name,), optical=False), QUANTITIES[name]
    step = 1 / q.per_unit
    given_values = [q.lowest - step, q.lowest, q.highest, q.highest + step]
    wanted = [Q.OUT_OF_RANGE, Q.GOOD, Q.GOOD, Q.OUT_OF_RANGE]
    assert [marks(found, WARM_UP, value)[0] for value in given_values] == wanted


def test_stuck_once_all_values_have_stood_still_for_the_stated_time() -> None:
    found = judge()
    assert marks(found, WARM_UP, 1, 2, 3, 4) == [Q.GOOD] * 4
    assert marks(found, WARM_UP + STUCK_AFTER_MS - 1, 1, 2, 3, 4) == [Q.GOOD] * 4
    assert marks(found, WARM_UP + STUCK_AFTER_MS, 1, 2, 3, 4) == [Q.STUCK] * 4
    assert marks(found, WARM_UP + STUCK_AFTER_MS + 1, 1, 2, 3, 4.1) == [Q.GOOD] * 4


def test_a_part_that_rests_may_wake_to_the_same_air_but_not_ten_times() -> None:
    found = Judge(PartKind("part", MASS, 1000, 10_000, 0, optical=True, rest=600_000))
    found.begin(0)
    assert marks(found, 0, 1, 2, 3, 4) == [Q.GOOD] * 4
    stuck = STUCK_AFTER_MS + 10 * 600_000
    assert marks(found, stuck - 1, 1, 2, 3, 4) == [Q.GOOD] * 4
    assert marks(found, stuck, 1, 2, 3, 4) == [Q.STUCK] * 4


def test_a_part_that_shows_clean_air_all_night_is_not_stuck_but_all_day_it_is() -> None:
    found, day = judge(), WARM_UP + ZERO_STUCK_AFTER_MS
    seen = [marks(found, t, 0, 0, 0, 0)[0] for t in (WARM_UP, 10**7, day - 1, day)]
    assert seen == [Q.GOOD] * 3 + [Q.STUCK]


def test_a_part_that_counts_sees_some_particles_in_any_air() -> None:
    found = judge((*MASS, *COUNTS))
    zeros = (0,) * 7
    assert marks(found, WARM_UP, *zeros) == [Q.GOOD] * 7
    assert marks(found, WARM_UP + STUCK_AFTER_MS - 1, *zeros) == [Q.GOOD] * 7
    assert marks(found, WARM_UP + STUCK_AFTER_MS, *zeros) == [Q.STUCK] * 7


def test_coarse_particles_may_well_be_missing_and_so_may_their_count() -> None:
    found = judge(("pm2_5", "n5", "n10"))
    assert [marks(found, t, 0, 0, 0)[0] for t in (WARM_UP, 10**7)] == [Q.GOOD] * 2
    found = judge(("pm2_5", "n0_3"))  # of a file that has no such column
    assert [marks(found, t, 0, None)[0] for t in (WARM_UP, 10**7)] == [Q.GOOD] * 2


def test_a_laser_that_stands_still_is_stuck_though_the_rest_of_the_part_lives() -> None:
    found, end = judge(COMBINED), WARM_UP + STUCK_AFTER_MS
    assert marks(found, WARM_UP, 4, 7, 20.0, 100) == [Q.GOOD] * 4
    assert marks(found, end - 1, 4, 7, 20.5, 101) == [Q.GOOD] * 4
    assert marks(found, end, 4, 7, 20.6, 102) == [Q.STUCK, Q.STUCK, Q.GOOD, Q.GOOD]
    assert marks(found, end + 1, 4, 7.1, 20.6, 102) == [Q.GOOD] * 4


def test_other_parts_may_stand_still() -> None:
    found = judge(("temperature",), optical=False)
    assert [marks(found, t, 21)[0] for t in (WARM_UP, 10**7, 10**8)] == [Q.GOOD] * 3


@pytest.mark.parametrize(
    ("values", "wrong"),
    [
        ((10, 10, 10, 10), ""),
        ((13, 10, 10, 10), ""),  # 10 % and 2 µg/m³ are allowed
        ((13.1, 10, 10, 10), "1100"),
        ((10, 10, 50, 20), "0011"),
        ((90, 60, 40, 20), "1111"),
        ((None, 60, 40, 90), "6110"),
    ],
)
def test_what_includes_another_is_not_smaller(values: tuple[float, ...], wrong: str) -> None:
    words = {"0": Q.GOOD, "1": Q.INCONSISTENT, "6": Q.FAILED}
    assert marks(judge(), WARM_UP, *values) == [words[w] for w in wrong or "0000"]


def test_counts_fall_with_size() -> None:
    assert marks(judge(COUNTS), WARM_UP, 50, 20, 30) == [Q.GOOD, Q.INCONSISTENT, Q.INCONSISTENT]
    assert marks(judge(COUNTS), WARM_UP, 50, 0.1, 0.21) == [Q.GOOD] * 3  # 10 % and 0.1/cm³
    assert marks(judge(COUNTS), WARM_UP, 50, 0.1, 0.22)[1:] == [Q.INCONSISTENT] * 2


def test_out_of_range_is_not_hidden_by_inconsistent() -> None:
    assert marks(judge(), WARM_UP, 6000, 1, 2, 3)[:2] == [Q.OUT_OF_RANGE, Q.INCONSISTENT]


@given(
    st.lists(st.one_of(st.none(), st.floats()), min_size=4, max_size=4),
    st.integers(0, 10**9),
    st.sampled_from(["", "fan"]),
)
def test_whatever_comes_a_good_mark_means_a_step_in_range(
    values: list[float | None], t: int, fault: str
) -> None:
    steps, found = judge().judge(t, Sample(tuple(values), fault))
    for step, mark in zip(steps, found, strict=True):
        assert mark or (step is not None and 0 <= step <= 50_000)


@pytest.mark.parametrize("mark", Quality)
def test_marks_have_words_and_fit_a_block(mark: Quality) -> None:
    assert mark.words == mark.name.lower().replace("_", " ")
    assert mark < 0x80
