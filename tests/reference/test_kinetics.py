"""Curves against published fits: NIST StRD nonlinear regression and FOCUS degradation kinetics.

NIST/ITL StRD: Misra1a, BoxBOD, Lanczos1 to 3, MGH17; data and certified values read from the
.dat files as they come in the lmfit 1.3.4 source archive. Lanczos data are what their formula
gives, rounded as in the files. FOCUS 2006: EC Sanco/10058/2005 v2.0, page 258; emissions.md 5.1.
No start is given anywhere: it comes from the data.
"""

import random
from collections.abc import Sequence
from math import exp, log

import pytest
from scipy import optimize, stats

from ventwright.commissioning.columns import Columns
from ventwright.commissioning.curves import Asked, analyse, told
from ventwright.mixing.curve import Fit, Points
from ventwright.mixing.fitting import fit
from ventwright.mixing.shapes import SHAPES

Certified = dict[str, tuple[float, float]]


def points(times: Sequence[float], values: Sequence[float]) -> Points:
    return Points(times, values, [1.0] * len(times))


def digits(found: Fit, certified: Certified, rss: float, rel: float) -> None:
    for name, (value, deviation) in certified.items():
        assert found.parameters[name] == pytest.approx(value, rel=rel), name
        assert found.error(name) == pytest.approx(deviation, rel=100 * rel), name
    assert found.rss == pytest.approx(rss, rel=1e-8)


MISRA = (
    (10.07, 77.6), (14.73, 114.9), (17.94, 141.1), (23.93, 190.8), (29.61, 239.9),
    (35.18, 289.0), (40.02, 332.8), (44.82, 378.4), (50.76, 434.8), (55.05, 477.3),
    (61.01, 536.8), (66.40, 593.1), (75.47, 689.1), (81.78, 760.0),
)  # fmt: skip


def test_misra1a_the_build_up_whose_end_is_extrapolated() -> None:
    values, times = zip(*MISRA, strict=True)
    certified = {
        "a": (2.3894212918e02, 2.7070075241e00),
        "k": (5.5015643181e-04, 7.2668688436e-06),
    }
    digits(fit(SHAPES["build-up"], points(times, values)), certified, 1.2455138894e-01, 1e-9)


def test_boxbod_of_higher_difficulty() -> None:
    found = fit(SHAPES["build-up"], points((1, 2, 3, 5, 7, 10), (109, 149, 149, 191, 213, 224)))
    certified = {
        "a": (2.1380940889e02, 1.2354515176e01),
        "k": (5.4723748542e-01, 1.0455993237e-01),
    }
    digits(found, certified, 1.1680088766e03, 1e-8)


def lanczos(rounded: str) -> Points:
    times = [n * 0.05 for n in range(24)]
    true = [0.0951 * exp(-x) + 0.8607 * exp(-3 * x) + 1.5576 * exp(-5 * x) for x in times]
    return points(times, [float(format(y, rounded)) for y in true])


LANCZOS3 = {
    "a1": (8.6816414977e-02, 1.7197908859e-02), "k1": (9.5498101505e-01, 9.7041624475e-02),
    "a2": (8.4400777463e-01, 4.1488663282e-02), "k2": (2.9515951832e00, 1.0766312506e-01),
    "a3": (1.5825685901e00, 5.8371576281e-02), "k3": (4.9863565084e00, 3.4436403035e-02),
}  # fmt: skip
LANCZOS2 = {
    "a1": (9.6251029939e-02, 6.6770575477e-04), "k1": (1.0057332849e00, 3.3989646176e-03),
    "a2": (8.6424689056e-01, 1.7185846685e-03), "k2": (3.0078283915e00, 4.1707005856e-03),
    "a3": (1.5529016879e00, 2.3744381417e-03), "k3": (5.0028798100e00, 1.3958787284e-03),
}  # fmt: skip
LANCZOS1 = {
    "a1": (9.5100000027e-02, 5.3347304234e-11), "k1": (1.0000000001e00, 2.7473038179e-10),
    "a2": (8.6070000013e-01, 1.3576062225e-10), "k2": (3.0000000002e00, 3.3308253069e-10),
    "a3": (1.5575999998e00, 1.8815731448e-10), "k3": (5.0000000001e00, 1.1057500538e-10),
}  # fmt: skip


def test_lanczos2_and_3_three_decays() -> None:
    digits(fit(SHAPES["three-decays"], lanczos(".4f")), LANCZOS3, 1.6117193594e-08, 1e-7)
    digits(fit(SHAPES["three-decays"], lanczos(".5e")), LANCZOS2, 2.2299428125e-11, 1e-7)


def test_lanczos1_whose_residuals_are_rounding() -> None:
    """Parameters to nine digits; what is left over is rounding of the machine, so to 1 % only."""
    found = fit(SHAPES["three-decays"], lanczos(".12e"))
    for name, (value, deviation) in LANCZOS1.items():
        assert found.parameters[name] == pytest.approx(value, rel=1e-8)
        assert found.error(name) == pytest.approx(deviation, rel=0.01)
    assert found.rss == pytest.approx(1.4307867721e-25, rel=0.02)


FOCUS: dict[str, tuple[list[tuple[float, float]], tuple[float, ...], tuple[float, ...]]] = {
    "A": (
        [(0, 101.24), (3, 99.27), (7, 90.11), (14, 72.19), (30, 29.71), (62, 5.98), (90, 1.54),
         (118, 0.39)],
        (109.15, 0.0372, 18.63, 61.90),
        (109.1532, 4.391, 0.037218, 0.004288, 221.808, 0.04837),
    ),
    "B": (
        [(0, 98.62), (3, 81.43), (7, 53.18), (14, 34.89), (30, 10.09), (62, 1.50), (90, 0.33),
         (118, 0.08)],
        (99.17, 0.0782, 8.87, 29.46),
        (99.1741, 1.924, 0.078158, 0.003862, 30.656, 0.06075),
    ),
    "D": (
        [(0, 99.46), (0, 102.04), (1, 93.50), (1, 92.50), (3, 63.23), (3, 68.99), (7, 52.32),
         (7, 55.13), (14, 27.27), (14, 26.64), (21, 11.50), (21, 11.64), (35, 2.85), (35, 2.91),
         (50, 0.69), (50, 0.63), (75, 0.05), (75, 0.06)],
        (99.44, 0.0979, 7.08, 23.51),
        (99.4442, 1.832, 0.097936, 0.004825, 207.630, 0.10039),
    ),
    "F": (
        [(0, 95.6), (3, 84.7), (7, 74.6), (14, 54.1), (28, 13.5), (43, 4.3), (56, 2.0), (70, 0.5),
         (100, 0.8)],
        (100.545, 0.0551, 12.58, 41.80),
        (100.5486, 4.355, 0.055081, 0.005902, 221.012, 0.05817),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FOCUS)
def test_focus_single_first_order(name: str) -> None:
    """Published: medians over 5 to 11 packages, as printed; the rest is scipy's, emissions.md."""
    data, published, scipy = FOCUS[name]
    found = fit(SHAPES["decay"], points(*zip(*data, strict=True)))
    a, k = found.parameters["a"], found.parameters["k"]
    told = (a, k, log(2) / k, log(10) / k)
    for value, printed in zip(told, published, strict=True):
        assert value == pytest.approx(printed, rel=1.5e-3)
    exact = (a, found.error("a"), k, found.error("k"), found.rss)
    assert exact == pytest.approx(scipy[:5], rel=5e-4)
    assert abs(k - scipy[5]) > 0.02 * k  # the line through logarithms gives another rate


def test_every_shape_is_fitted_as_scipy_does() -> None:
    """scipy.optimize.curve_fit, 1.11 or newer, started at the truth, on noisy curves."""
    times = [0.1 * n for n in range(60)]
    truth = {"decay": [0.8], "two-decays": [0.4, 3.0], "build-up": [0.7], "slowing": [1.2, 0.9],
             "rise-and-fall": [0.5, 2.5]}  # fmt: skip
    for name, rates in truth.items():
        shape = SHAPES[name]
        size = [30.0, 70.0][: len(shape.amplitudes)]
        values = [
            5 + shape.value(t, size, rates) + 0.5 * ((n * 7919) % 13 - 6) / 6
            for n, t in enumerate(times)
        ]
        found = fit(shape, points(times, values), None)
        count = len(size)

        def curve(ts, *p, shape=shape, count=count):  # type: ignore[no-untyped-def]
            return [p[-1] + shape.value(t, p[:count], p[count:-1]) for t in ts]

        best, covariance = optimize.curve_fit(curve, times, values, [*size, *rates, 5.0])
        assert list(found.parameters.values()) == pytest.approx(list(best), rel=1e-4)
        errors = [found.error(n) for n in found.names]
        assert errors == pytest.approx(list(covariance.diagonal() ** 0.5), rel=1e-2)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", ["decay", "build-up", "rise-and-fall", "two-decays"])
def test_random_sets_are_fitted_as_scipy_does_with_errors_and_intervals(
    seed: int, name: str
) -> None:
    """scipy.optimize.curve_fit started at the truth, and Student's t of scipy.stats."""
    dice, shape = random.Random(seed), SHAPES[name]
    truth = [dice.uniform(40, 60), dice.uniform(80, 99), dice.uniform(0.3, 0.6), dice.uniform(3, 5)]
    size, rates = truth[: len(shape.amplitudes)], truth[-len(shape.rates) :]
    times = [0.1 * n for n in range(60)]
    values = [shape.value(t, size, rates) + dice.gauss(0, 0.5) for t in times]

    def curve(ts, *p):  # type: ignore[no-untyped-def]
        return [shape.value(t, p[: len(size)], p[len(size) :]) for t in ts]

    best, covariance = optimize.curve_fit(curve, times, values, [*size, *rates])
    errors = covariance.diagonal() ** 0.5
    found = told(analyse(Columns(times, values, False, 0.0), Asked(model=name)))
    figures = found["parameters"].values()
    half = stats.t.ppf(0.975, len(times) - len(best)) * errors
    assert [one["value"] for one in figures] == pytest.approx(list(best), rel=1e-4)
    assert [one["standard_error"] for one in figures] == pytest.approx(list(errors), rel=1e-2)
    assert [one["low"] for one in figures] == pytest.approx(list(best - half), rel=1e-3)
