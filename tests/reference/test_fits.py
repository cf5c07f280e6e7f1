"""Lines through pairs, against NIST and against other ways of computing the same.

Norris, calibration of ozone monitors, NIST/ITL StRD: data and certified values as they come in the
scipy wheel (scipy/stats/tests/data/nist_linregress/Norris.dat).
"""

import random
from importlib.resources import files

import numpy as np
import pytest
from scipy import stats

from ventwright.agreeing.fit import both_err, both_err_fit, least_squares, moments

OFFSET = (-0.262323073774029, 0.232818234301152)
SLOPE = (1.00211681802045, 0.429796848199937e-3)
DEVIATION = 0.884796396144373
R_SQUARED = 0.999993745883712


def norris() -> tuple[list[float], list[float]]:
    """Give x and y."""
    file = files("scipy.stats") / "tests/data/nist_linregress/Norris.dat"
    text = file.read_text(encoding="utf-8")
    assert "Calibration of Ozone Monitors" in text
    rows = [line.split() for line in text.split("Data:")[-1].splitlines()[1:] if line.strip()]
    return [float(x) for _, x in rows], [float(y) for y, _ in rows]


def noisy(seed: int, count: int = 400) -> tuple[list[float], list[float]]:
    dice = random.Random(seed)
    truth = [dice.uniform(0, 80) for _ in range(count)]
    xs = [x + dice.gauss(0, 4) for x in truth]
    return xs, [2 + 1.2 * x + dice.gauss(0, 4) for x in truth]


def test_norris_to_the_certified_digits() -> None:
    xs, ys = norris()
    assert len(xs) == 36
    found = least_squares(xs, ys)
    assert found.line.offset == pytest.approx(OFFSET[0], rel=1e-12)
    assert found.line.slope == pytest.approx(SLOPE[0], rel=1e-14)
    assert found.offset_error == pytest.approx(OFFSET[1], rel=1e-12)
    assert found.slope_error == pytest.approx(SLOPE[1], rel=1e-12)
    assert found.deviation == pytest.approx(DEVIATION, rel=1e-12)
    assert moments(xs, ys).correlation ** 2 == pytest.approx(R_SQUARED, rel=1e-14)


@pytest.mark.parametrize("seed", range(3))
def test_least_squares_is_that_of_scipy(seed: int) -> None:
    """scipy.stats.linregress, 1.11 or newer."""
    xs, ys = noisy(seed)
    found, other = least_squares(xs, ys), stats.linregress(xs, ys)
    assert found.line.slope == pytest.approx(other.slope, rel=1e-12)
    assert found.line.offset == pytest.approx(other.intercept, rel=1e-11)
    assert found.slope_error == pytest.approx(other.stderr, rel=1e-11)
    assert found.offset_error == pytest.approx(other.intercept_stderr, rel=1e-11)
    assert moments(xs, ys).correlation == pytest.approx(other.rvalue, rel=1e-12)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("ratio", [1.0, 0.25, 9.0])
def test_with_errors_in_both_it_is_the_principal_axis(seed: int, ratio: float) -> None:
    """Singular values by numpy of the centred pairs, y divided by the root of the ratio."""
    xs, ys = noisy(seed)
    scale = ratio**0.5
    cloud = np.column_stack([xs, np.array(ys) / scale])
    centre = cloud.mean(axis=0)
    across, up = np.linalg.svd(cloud - centre)[2][0]
    slope = up / across * scale
    found = both_err(xs, ys, ratio)
    assert found.slope == pytest.approx(slope, rel=1e-11)
    assert found.offset == pytest.approx(centre[1] * scale - slope * centre[0], rel=1e-9)


def test_errors_in_x_flatten_least_squares_and_not_the_other() -> None:
    """Errors of 12 in x and in 1.2 y: least squares loses a fifth of the slope, by theory."""
    slopes = {"least squares": 0.0, "both": 0.0}
    for seed in range(20):
        dice = random.Random(seed)
        truth = [dice.uniform(0, 80) for _ in range(500)]
        xs = [x + dice.gauss(0, 12) for x in truth]
        ys = [2 + 1.2 * x + dice.gauss(0, 14.4) for x in truth]
        slopes["least squares"] += least_squares(xs, ys).line.slope / 20
        slopes["both"] += both_err(xs, ys, 1.44).slope / 20
    variance = 80**2 / 12
    assert slopes["least squares"] == pytest.approx(1.2 * variance / (variance + 144), rel=0.01)
    assert slopes["both"] == pytest.approx(1.2, rel=0.01)


def test_the_jackknife_tells_how_far_lines_scatter() -> None:
    """Many repeats of one trial scatter as each of them says, within a tenth."""
    found = [both_err_fit(*noisy(seed, 200)) for seed in range(200)]
    slopes = [fit.line.slope for fit in found]
    offsets = [fit.line.offset for fit in found]
    said = np.sqrt(np.mean([fit.slope_error**2 for fit in found]))
    assert np.std(slopes) == pytest.approx(said, rel=0.15)
    said = np.sqrt(np.mean([fit.offset_error**2 for fit in found]))
    assert np.std(offsets) == pytest.approx(said, rel=0.15)


def test_the_jackknife_is_not_fooled_by_neighbours_that_resemble_each_other() -> None:
    """Each pair thirty times over tells nothing new: the error stays, least squares' shrinks."""
    xs, ys = noisy(1, 200)
    many_xs, many_ys = ([v for v in values for _ in range(30)] for values in (xs, ys))
    once, often = both_err_fit(xs, ys), both_err_fit(many_xs, many_ys)
    assert often.slope_error == pytest.approx(once.slope_error, rel=1e-9)
    shrunk = least_squares(many_xs, many_ys).slope_error / least_squares(xs, ys).slope_error
    assert shrunk == pytest.approx(30**-0.5, rel=0.01)


def test_lines_that_cannot_be_drawn_are_refused() -> None:
    with pytest.raises(ValueError, match="three pairs with different x"):
        least_squares([1, 1, 1], [1, 2, 3])
    with pytest.raises(ValueError, match="three pairs"):
        least_squares([1, 2], [1, 2])
    with pytest.raises(ValueError, match="nothing in common"):
        both_err([1, 1, 1], [1, 2, 3])
    assert moments([1, 1], [2, 3]).correlation == 0
