"""Humid air: what is marked, what is corrected, and what is left alone."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.quality.humid import HUMID_ABOVE, REMEMBERED_MS, Humid
from ventwright.quality.marks import Quality
from ventwright.standards.humid import growth

KEPT = ("pm1", "pm2_5", "pm10", "n0_3")
STEPS = (100, 200, 300, 400)
GOOD = bytes(4)
WET = bytes([Quality.HUMID, Quality.HUMID, Quality.HUMID, Quality.GOOD])


def percent(humidity: float) -> int:
    return round(humidity * 100)


def heard(humidity: float, kappa: float | None = None, t: int = 0) -> Humid:
    found = Humid(KEPT, kappa)
    found.hear(t, percent(humidity))
    return found


def test_the_number_of_the_mark_is_in_every_store() -> None:
    assert Quality.HUMID == 7


def test_without_any_humidity_nothing_is_marked() -> None:
    assert Humid(KEPT).judge(0, STEPS, GOOD) == (STEPS, GOOD)
    assert Humid(KEPT, 0.4).judge(0, STEPS, GOOD) == (STEPS, GOOD)


def test_mass_is_humid_above_the_edge_and_not_at_it() -> None:
    assert heard(HUMID_ABOVE).judge(0, STEPS, GOOD) == (STEPS, GOOD)
    assert heard(HUMID_ABOVE + 0.01).judge(0, STEPS, GOOD) == (STEPS, WET)


def test_it_stays_humid_for_the_stated_time_and_not_longer() -> None:
    found = heard(90)
    found.hear(1000, percent(60))
    assert found.judge(REMEMBERED_MS, STEPS, GOOD)[1] == WET
    assert found.judge(REMEMBERED_MS + 1, STEPS, GOOD)[1] == GOOD


def test_a_worse_mark_is_not_hidden() -> None:
    marks = bytes([Quality.FAILED, Quality.GOOD, Quality.OUT_OF_RANGE, Quality.GOOD])
    steps = (None, 200, 900_000, 400)
    wanted = bytes([Quality.FAILED, Quality.HUMID, Quality.OUT_OF_RANGE, Quality.GOOD])
    assert heard(90).judge(0, steps, marks) == (steps, wanted)
    corrected, kept = heard(90, 0.38).judge(0, steps, marks)
    assert (corrected, kept) == ((None, round(200 / 3.0727), 900_000, 400), marks)


@pytest.mark.parametrize(("humidity", "factor"), [(50, 1.2303), (80, 1.9212), (90, 3.0727)])
def test_the_correction_divides_mass_by_the_published_factor(
    humidity: float, factor: float
) -> None:
    """Factors: limits of the reference, kappa 0.38."""
    found = heard(humidity, 0.38)
    steps, marks = found.judge(0, STEPS, GOOD)
    assert steps == (round(100 / factor), round(200 / factor), round(300 / factor), 400)
    assert marks == GOOD
    assert found.factor(0) == pytest.approx(factor, abs=5e-5)


def test_the_correction_does_not_jump_at_the_edge() -> None:
    below, above = heard(HUMID_ABOVE, 0.4), heard(HUMID_ABOVE + 0.01, 0.4)
    assert below.factor(0) == pytest.approx(above.factor(0), rel=0.001)


def test_the_correction_is_capped() -> None:
    assert heard(100, 0.4).factor(0) == heard(95, 0.4).factor(0) == growth(95, 0.4)


def test_a_humidity_that_is_too_old_corrects_nothing() -> None:
    found = heard(70, 0.4)
    assert found.judge(REMEMBERED_MS, STEPS, GOOD)[0] != STEPS
    assert found.judge(REMEMBERED_MS + 1, STEPS, GOOD) == (STEPS, GOOD)
    assert found.factor(REMEMBERED_MS + 1) == 1


@given(
    st.lists(st.tuples(st.integers(0, 10**7), st.integers(0, 10_000)), max_size=5),
    st.integers(0, 10**7),
    st.sampled_from([None, 0.1, 0.4]),
)
def test_a_correction_only_ever_takes_away(
    said: list[tuple[int, int]], t: int, kappa: float | None
) -> None:
    found = Humid(KEPT, kappa)
    for when, step in sorted(said):
        found.hear(when, step)
    steps, marks = found.judge(t, STEPS, GOOD)
    assert all(0 <= new <= old for new, old in zip(steps, STEPS, strict=True) if new is not None)
    assert None not in steps
    assert set(marks) <= {Quality.GOOD, Quality.HUMID}
