"""A calibration moves what it names, within what can be true, and nothing else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.quality.calibration import Calibrated, after
from ventwright.settings.model import Calibration

KEPT = ("pm1", "pm2_5", "temperature")


def test_values_are_multiplied_and_moved_in_the_channels_unit() -> None:
    right = Calibrated(KEPT, {"pm2_5": Calibration(0.8, 1.5), "temperature": Calibration(-2)})
    assert right((10, 20, 2150)) == (10, 38, 1950)  # 2 µg/m³ -> 3.8; 21.5 °C -> 19.5


def test_without_a_calibration_nothing_is_touched() -> None:
    steps = (1, None, 3)
    assert Calibrated(KEPT, {})(steps) is steps


def test_what_is_not_there_stays_away() -> None:
    assert Calibrated(KEPT, {"pm1": Calibration(1)})((None, 2, 3)) == (None, 2, 3)


def test_clean_air_stays_possible() -> None:
    right = Calibrated(KEPT, {"pm1": Calibration(-5), "temperature": Calibration(-10)})
    assert right((0, 0, 0)) == (0, 0, -1000)


def test_what_cannot_be_true_is_not_made_true() -> None:
    right = Calibrated(KEPT, {"pm1": Calibration(5, 0.1)})
    assert right((-1, 0, 0)) == (-1, 0, 0)
    assert right((50_001, 0, 0)) == (50_001, 0, 0)
    assert Calibrated(KEPT, {"pm1": Calibration(0, 3)})((50_000, 0, 0))[0] == 50_000


@given(st.integers(0, 50_000), st.floats(-100, 100), st.floats(0.01, 100))
def test_a_value_that_can_be_true_stays_one(step: int, offset: float, slope: float) -> None:
    (found, *_) = Calibrated(("pm1",), {"pm1": Calibration(offset, slope)})((step,))
    assert found is not None
    assert 0 <= found <= 50_000


@given(st.floats(-9, 9), st.floats(0.1, 9), st.floats(-9, 9), st.floats(0.1, 9), st.floats(0, 1000))
def test_one_after_the_other_is_one(a: float, b: float, c: float, d: float, x: float) -> None:
    both = after(Calibration(a, b), Calibration(c, d))
    assert both.offset + both.slope * x == pytest.approx(c + d * (a + b * x), abs=1e-9)
