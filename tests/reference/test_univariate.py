"""Rolling means against the univariate sets of NIST StRD, whose means are certified.

Values are kept as whole steps, so the sums are exact; the mean of a window over exactly the set
must have all certified digits. Data retyped; lag-1 autocorrelation and standard deviation prove
that they were retyped well. Source: NIST/ITL StRD, sets NumAcc1 to 4, Lew, Michelso.
"""

from itertools import pairwise
from statistics import fmean, stdev
from typing import NamedTuple

import pytest

from ventwright.means.history import History


class Certified(NamedTuple):
    per_unit: int
    steps: list[int]
    mean: float
    deviation: float
    autocorrelation: float


def alternating(first: int, low: int, high: int) -> list[int]:
    return [first, *[low, high] * 500]


LEW = """
-213 -564 -35 -15 141 115 -420 -360 203 -338 -431 194 -220 -513 154 -125 -559 92 -21 -579 -52 99
-543 -175 162 -457 -346 204 -300 -474 164 -107 -572 -8 83 -541 -224 180 -420 -374 201 -236 -531 83
27 -564 -112 131 -507 -254 199 -311 -495 143 -46 -579 -90 136 -472 -338 202 -287 -477 169 -124 -568
17 48 -568 -135 162 -430 -422 172 -74 -577 -13 92 -534 -243 194 -355 -465 156 -81 -578 -64 139 -449
-384 193 -198 -538 110 -44 -577 -6 66 -552 -164 161 -460 -344 205 -281 -504 134 -28 -576 -118 156
-437 -381 200 -220 -540 83 11 -568 -160 172 -414 -408 188 -125 -572 -32 139 -492 -321 205 -262 -504
142 -83 -574 0 48 -571 -106 137 -501 -266 190 -391 -406 194 -186 -553 83 -13 -577 -49 103 -515 -280
201 300 -506 131 -45 -578 -80 138 -462 -361 201 -211 -554 32 74 -533 -235 187 -372 -442 182 -147
-566 25 68 -535 -244 194 -351 -463 174 -125 -570 15 72 -550 -190 172 -424 -385 198 -218 -536 96
"""
# Speed of light: thousandths by which it is above 299 km/ms.
MICHELSO = """
850 740 900 1070 930 850 950 980 980 880 1000 980 930 650 760 810 1000 1000 960 960 960 940 960 940
880 800 850 880 900 840 830 790 810 880 880 830 800 790 760 800 880 880 880 860 720 720 620 860 970
950 880 910 850 870 840 840 850 840 840 840 890 810 810 820 800 770 760 740 750 760 910 920 890 860
880 720 840 850 850 780 890 840 780 810 760 810 790 810 820 850 870 870 810 740 810 940 950 800 810
870
"""

SETS = {
    "NumAcc1": Certified(1, [10_000_001, 10_000_003, 10_000_002], 10_000_002, 1, -0.5),
    "NumAcc2": Certified(10, alternating(12, 11, 13), 1.2, 0.1, -0.999),
    "NumAcc3": Certified(
        10, alternating(10_000_002, 10_000_001, 10_000_003), 1_000_000.2, 0.1, -0.999
    ),
    "NumAcc4": Certified(
        10, alternating(100_000_002, 100_000_001, 100_000_003), 10_000_000.2, 0.1, -0.999
    ),
    "Lew": Certified(
        1, [int(x) for x in LEW.split()], -177.435, 277.332168044316, -0.307304800605679
    ),
    "Michelso": Certified(
        100_000,
        [29_900_000 + 100 * int(x) for x in MICHELSO.split()],
        299.8524,
        0.0790105478190518,
        0.535199668621283,
    ),
}


def autocorrelation(values: list[float]) -> float:
    mean = fmean(values)
    apart = [value - mean for value in values]
    return sum(a * b for a, b in pairwise(apart)) / sum(a * a for a in apart)


@pytest.mark.parametrize("name", SETS)
def test_the_sets_were_retyped_well(name: str) -> None:
    found = SETS[name]
    values = [step / found.per_unit for step in found.steps]
    assert len(values) == {"NumAcc1": 3, "Lew": 200, "Michelso": 100}.get(name, 1001)
    assert stdev(values) == pytest.approx(found.deviation, rel=1e-8)
    assert autocorrelation(values) == pytest.approx(found.autocorrelation, rel=1e-7)


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("period", [1000, 2300])
def test_the_mean_has_all_certified_digits(name: str, period: int) -> None:
    found = SETS[name]
    history = History(period, 3 * period)
    window = history.window(period * len(found.steps))
    for n, step in enumerate([7_654_321, *found.steps]):  # what left the window leaves no trace
        history.add(period * (n + 1), step)
    area, cover = window.sums(period * (len(found.steps) + 1))
    assert cover == period * len(found.steps)
    assert area / cover / found.per_unit == found.mean


def test_years_of_readings_leave_no_trace_in_a_sum() -> None:
    """The last window of NumAcc4, repeated until the running sum has 16 digits, is still exact."""
    found = SETS["NumAcc4"]
    history = History(1000, 3000)
    window = history.window(1000 * len(found.steps))
    t = 0
    for _ in range(30):
        for step in found.steps:
            t += 1000
            history.add(t, step)
        area, cover = window.sums(t)
        assert area == 1000 * sum(found.steps)
        assert area / cover / found.per_unit == found.mean
