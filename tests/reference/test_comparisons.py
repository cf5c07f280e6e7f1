"""Comparisons against certified, classic and published results; sources at each check.

Data and results are those of emissions.md sections 5 and 6, which names where they were read.
"""

import math
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from invoking import json_of
from ventwright.commands.compare import compare
from ventwright.commands.repeats import repeats
from ventwright.contrasts.anova import even_spreads, likely_components, one_way, welch_one_way
from ventwright.contrasts.own_spreads import Own, own_power
from ventwright.contrasts.power import (
    anova_power,
    beyond,
    repeats_for,
    t_power,
    welch_power,
    whole_repeats,
)
from ventwright.contrasts.ranges import (
    dunnett_quantile,
    range_quantile,
    range_tail,
)
from ventwright.contrasts.several import dunnett, holm, sidak, tukey
from ventwright.contrasts.welch import pooled, welch

NIST = Path(stats.__file__).parent / "tests" / "data" / "nist_anova"

SIRSTV = """1 196.3052 196.1240 196.1890 196.2569 196.3403
2 196.3042 196.3825 196.1669 196.3257 196.0422
3 196.1303 196.2005 196.2889 196.0343 196.1811
4 196.2795 196.1748 196.1494 196.1485 195.9885
5 196.2119 196.1051 196.1850 196.0052 196.2090"""

DYESTUFF = {
    "A": (1545, 1440, 1440, 1520, 1580),
    "B": (1540, 1555, 1490, 1560, 1495),
    "C": (1595, 1550, 1605, 1510, 1560),
    "D": (1445, 1440, 1595, 1465, 1545),
    "E": (1595, 1630, 1515, 1635, 1625),
    "F": (1520, 1455, 1450, 1480, 1445),
}
RAIL = {
    "1": (55, 53, 54),
    "2": (26, 37, 32),
    "3": (78, 91, 85),
    "4": (92, 100, 96),
    "5": (49, 51, 50),
    "6": (80, 85, 83),
}


def table(folder: Path, groups: dict[str, Sequence[Any]]) -> str:
    file = folder / "repeats.csv"
    rows = [f"{name},{value}" for name, values in groups.items() for value in values]
    file.write_text("condition,value\n" + "\n".join(rows) + "\n")
    return str(file)


def run(folder: Path, groups: dict[str, Sequence[Any]], *words: str) -> dict[str, Any]:
    file = table(folder, groups)
    return json_of(compare, "--csv", file, "--scale", "linear", "--json", *words)


def test_sirstv(tmp_path: Path) -> None:
    """NIST StRD ANOVA, SiRstv (certified): silicon resistivity by five instruments."""
    groups = {row.split()[0]: row.split()[1:] for row in SIRSTV.splitlines()}
    found = run(tmp_path, groups)["tests"]["one-way"]
    assert found["f"] == pytest.approx(1.18046237440255, rel=1e-13)
    assert found["ss_between"] == pytest.approx(0.0511462616000000, rel=1e-13)
    assert found["ss_within"] == pytest.approx(0.216636560000000, rel=1e-13)
    assert found["r2"] == pytest.approx(0.190999039051129, rel=1e-13)
    assert found["s"] == pytest.approx(0.104076068334656, rel=1e-13)


def nist_groups(name: str) -> dict[str, Sequence[str]]:
    """Read a set as NIST laid it out, from the copy in the scipy wheel."""
    groups: dict[str, Sequence[str]] = {}
    for line in (NIST / f"{name}.dat").read_text().splitlines()[60:]:
        if len(words := line.split()) == 2:
            groups[words[0]] = [*groups.get(words[0], ()), words[1]]
    return groups


CERTIFIED = {
    "AtmWtAg": 15.9467335677930,
    **{f"SmLs0{n}": (21, 201, 2001)[n % 3 - 1] for n in range(1, 10)},
}


@pytest.mark.parametrize("name", [*CERTIFIED, "SiRstv"])
def test_every_certified_analysis_of_variance(name: str) -> None:
    """NIST StRD ANOVA (certified F): constant leading digits, 13 of them, cost nothing."""
    certified = CERTIFIED.get(name, 1.18046237440255)
    groups = nist_groups(name)
    assert len(groups) == {"AtmWtAg": 2, "SiRstv": 5}.get(name, 9)
    found = one_way([[Fraction(text) for text in texts] for texts in groups.values()])
    assert found is not None
    assert found.f == pytest.approx(certified, rel=1e-12)


def test_thirteen_constant_digits_cost_nothing_on_the_way_through_the_command(
    tmp_path: Path,
) -> None:
    """NIST StRD ANOVA SmLs07 (certified F 21)."""
    found = run(tmp_path, nist_groups("SmLs07"), "--reference", "1")
    assert found["tests"]["one-way"]["f"] == pytest.approx(21, rel=1e-12)
    assert found["tests"]["one-way"]["s"] == pytest.approx(0.1, rel=1e-12)


def test_dyestuff(tmp_path: Path) -> None:
    """lme4 Dyestuff: REML 1764 (42.00) between batches, 2451 (49.51) within, mean 1527.50."""
    parts = run(tmp_path, DYESTUFF, "--method", "none")["tests"]
    likely = parts["components"]["restricted likelihood"]
    assert (round(likely["between"]), round(likely["within"])) == (1764, 2451)
    assert (round(likely["sd between"], 2), round(likely["sd within"], 2)) == (42.00, 49.51)
    assert likely["mean"] == pytest.approx(1527.50, abs=0.005)
    squares = parts["components"]["mean squares"]
    assert squares["between"] == pytest.approx(1764.05)
    assert squares["within"] == pytest.approx(2451.25)
    assert squares["share between"] == pytest.approx(0.4185, abs=5e-5)
    assert parts["one-way"]["f"] == pytest.approx(4.5983, abs=5e-5)


def test_rail() -> None:
    """Nlme Rail: mean 66.5, SD 24.8055 between, 4.0208 within, F 115.18."""
    found, likely = one_way(list(RAIL.values())), likely_components(list(RAIL.values()))
    assert found is not None
    assert likely is not None
    assert found.f == pytest.approx(115.18, abs=5e-3)
    assert math.sqrt(likely.between) == pytest.approx(24.8055, abs=5e-5)
    assert math.sqrt(likely.within) == pytest.approx(4.0208, abs=5e-5)
    assert likely.mean == pytest.approx(66.5)


SHOES_A = (13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3)
SHOES_B = (14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6)


def test_shoes_are_paired_by_batch(tmp_path: Path) -> None:
    """MASS shoes: t -3.3489, df 9, p .008539 (emissions.md 5.6; data from memory)."""
    file = tmp_path / "shoes.csv"
    rows = [f"A,{v},{n}" for n, v in enumerate(SHOES_A)]
    rows += [f"B,{v},{n}" for n, v in enumerate(SHOES_B)]
    file.write_text("\n".join(rows))
    found = json_of(compare, "--csv", str(file), "--scale", "linear", "--json")
    paired = found["tests"]["pairs"][0]["paired by batch"]
    assert paired["t"] == pytest.approx(-3.3489, abs=5e-5)
    assert (paired["df"], round(paired["p"], 6)) == (9, 0.008539)


PLANTS = {
    "ctrl": (4.17, 5.58, 5.18, 6.11, 4.50, 4.61, 5.17, 4.53, 5.33, 5.14),
    "trt1": (4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69),
    "trt2": (6.31, 5.12, 5.54, 5.50, 5.37, 5.29, 4.92, 6.15, 5.80, 5.26),
}


def test_plant_growth(tmp_path: Path) -> None:
    """R PlantGrowth: F 4.8461, p .01591; Tukey trt1-trt2 p .012 (5.6; data from memory)."""
    found = run(tmp_path, PLANTS, "--method", "tukey")
    assert found["tests"]["one-way"]["f"] == pytest.approx(4.8461, abs=5e-5)
    assert found["tests"]["one-way"]["p"] == pytest.approx(0.01591, abs=5e-6)
    last = found["contrasts"][-1]
    assert {last["one"], last["other"]} == {"trt1", "trt2"}
    assert last["adjusted"] == pytest.approx(0.012, abs=5e-4)


SPRAYS = {
    "A": (10, 7, 20, 14, 14, 12, 10, 23, 17, 20, 14, 13),
    "B": (11, 17, 21, 11, 16, 14, 17, 17, 19, 21, 7, 13),
    "C": (0, 1, 7, 2, 3, 1, 2, 1, 3, 0, 1, 4),
    "D": (3, 5, 12, 6, 4, 3, 5, 5, 5, 5, 2, 4),
    "E": (3, 5, 3, 5, 3, 6, 1, 1, 3, 2, 6, 4),
    "F": (11, 9, 15, 22, 15, 16, 13, 10, 26, 26, 24, 13),
}


def test_insect_sprays() -> None:
    """R InsectSprays: F 34.702; Welch F 36.065, df 5, 30.043 (5.6; data from memory)."""
    found, uneven = one_way(list(SPRAYS.values())), welch_one_way(list(SPRAYS.values()))
    assert found is not None
    assert uneven is not None
    assert found.f == pytest.approx(34.702, abs=5e-4)
    assert uneven.f == pytest.approx(36.065, abs=5e-4)
    assert uneven.df_within == pytest.approx(30.043, abs=5e-4)


def test_power_as_published() -> None:
    """power.t.test, power.anova.test as two public test files quote R (emissions.md section 6)."""
    assert t_power(1, 20) == pytest.approx(0.8689528, abs=5e-7)
    assert repeats_for(lambda n: t_power(1, n), 0.9) == pytest.approx(22.02110, abs=5e-5)
    one_sided = repeats_for(lambda n: t_power(1, n, one_sided=True), 0.9)
    assert one_sided == pytest.approx(17.84713, abs=5e-5)
    several = repeats_for(lambda n: anova_power(1, 3, 4, n), 0.8)
    assert several == pytest.approx(11.92613, abs=5e-5)
    assert anova_power(1, 3, 4, 5) == pytest.approx(0.3535594, abs=5e-7)


EFFECTS = [0.2, 0.5, 0.8, 1, 1.5, 2, 3]
AT_80 = [393.41, 63.77, 25.52, 16.71, 8.06, 5.09, 3.07]
AT_90 = [526.3, 85.03, 33.83, 22.02, 10.40, 6.39, 3.62]


@pytest.mark.parametrize(("d", "at_80", "at_90"), list(zip(EFFECTS, AT_80, AT_90, strict=True)))
def test_repeats_for_an_effect(d: float, at_80: float, at_90: float) -> None:
    """emissions.md section 6 (derived there by the noncentral t, both tails)."""
    assert repeats_for(lambda n: t_power(d, n), 0.8) == pytest.approx(at_80, abs=6e-3)
    assert repeats_for(lambda n: t_power(d, n), 0.9) == pytest.approx(at_90, abs=6e-2)


NEEDED = {
    1.1: (5, 3, 2, 2, 2, 2),
    1.2: (12, 5, 3, 2, 2, 2),
    1.3: (23, 8, 4, 3, 2, 2),
    1.4: (37, 12, 5, 3, 3, 2),
    1.5: (53, 17, 7, 4, 3, 2),
    1.7: (90, 28, 11, 5, 4, 3),
    2.0: (153, 47, 17, 8, 5, 3),
}


@pytest.mark.parametrize("gsd", NEEDED)
def test_repeats_for_a_ratio(gsd: float) -> None:
    """The table of emissions.md section 6: repeats of each for a ratio, 5 %, power 0.80."""
    for ratio, needed in zip((1.25, 1.5, 2, 3, 5, 10), NEEDED[gsd], strict=True):
        d = math.log(ratio) / math.log(gsd)
        assert math.ceil(repeats_for(lambda n: t_power(d, n))) == needed, (gsd, ratio)  # noqa: B023


def test_the_command_tells_the_same() -> None:
    found = json_of(repeats, "--ratio", "1.5", "--gsd", "1.4", "--json")
    assert found["prints"] == 12
    assert found["prints by Welch's test"] == 12


@pytest.mark.parametrize(("n", "m", "d"), [(2, 2, 3), (3, 3, 2), (2, 6, 2), (5, 5, 1.5), (4, 9, 0)])
def test_power_of_the_welch_test_is_what_trials_of_it_show(n: int, m: int, d: float) -> None:
    """Against 100,000 tests by scipy.stats.ttest_ind with seeded normal numbers."""
    import numpy as np

    dice = np.random.default_rng(7)
    one, other = dice.normal(d, 1, (100_000, n)), dice.normal(0, 1, (100_000, m))
    seen = (stats.ttest_ind(one, other, axis=1, equal_var=False).pvalue < 0.05).mean()
    assert welch_power(d, n, m) == pytest.approx(seen, abs=0.006)


def test_distributions_agree_with_scipy() -> None:
    for t, df, shift in ((2, 4, 1.5), (2.1, 38, 3.16), (2, 2, 8), (3, 1, 2), (-1, 3, 0.3)):
        assert beyond(t, df, shift) == pytest.approx(stats.nct.sf(t, df, shift), abs=1e-7)
    for q, groups, df in ((3.5, 4, 10), (2.0, 3, 2), (5.0, 8, 40)):
        known = stats.studentized_range.sf(q, groups, df)
        assert range_tail(q, groups, df) == pytest.approx(known, abs=1e-8)
    assert range_quantile(0.95, 3, 2) == pytest.approx(8.3308, abs=5e-4)


def test_dunnetts_table() -> None:
    """Dunnett's two-sided 5 % points, one row of his table: 3 treatments, 16 df: 2.59.

    The figure from memory; checked against scipy.stats.dunnett below as well.
    """
    assert round(dunnett_quantile(0.95, [5, 5, 5], 5, 16), 2) == 2.59


GROUPS: list[list[float]] = [[5.1, 4.2, 6.0], [7, 8.1, 6.6, 7.3], [5.5, 6.1, 5.9]]


def test_several_comparisons_agree_with_scipy() -> None:
    known = stats.tukey_hsd(*GROUPS)
    for both, (i, j) in zip(tukey(GROUPS, [(0, 1), (0, 2)], 0.95), [(0, 1), (0, 2)], strict=True):
        assert both.adjusted == pytest.approx(known.pvalue[i, j], abs=1e-8)
        low = known.confidence_interval().low[i, j]
        assert both.difference - both.half == pytest.approx(low, abs=1e-5)
    dunnetts = stats.dunnett(GROUPS[0], GROUPS[2], control=GROUPS[1], rng=1)
    found = dunnett(GROUPS, [(0, 1), (2, 1)], 0.95)
    assert [both.adjusted for both in found] == pytest.approx(list(dunnetts.pvalue), abs=2e-4)


def test_even_spreads_agree_with_bartlett_by_scipy() -> None:
    groups = [[1.2, 1.9, 1.4, 2.2], [3.1, 9.4, 6.2], [5.5, 5.7, 5.2, 5.1, 6.0]]
    assert even_spreads(groups) == pytest.approx(stats.bartlett(*groups).pvalue, rel=1e-9)


def test_welch_and_student_agree_with_scipy() -> None:
    for equal, test in ((False, welch), (True, pooled)):
        known = stats.ttest_ind(GROUPS[0], GROUPS[1], equal_var=equal)
        found = test(GROUPS[0], GROUPS[1])
        assert (found.t, found.p) == pytest.approx((known.statistic, known.pvalue))
        assert found.df == pytest.approx(known.df)
        assert found.interval() == pytest.approx(tuple(known.confidence_interval()))


def test_holms_steps() -> None:
    """Holm 1979 by hand: 0.01, 0.04, 0.03 of three become 0.03, 0.06, 0.06."""
    assert holm([0.01, 0.04, None, 0.03]) == pytest.approx([0.03, 0.06, None, 0.06])


def test_whole_repeats_are_the_least_that_suffice() -> None:
    for d in (0.5, 1.0, 2.0, 5.0):
        n = whole_repeats(lambda n: welch_power(d, n))  # noqa: B023 - called at once
        assert n is not None
        assert welch_power(d, n) >= 0.8
        assert n == 2 or welch_power(d, n - 1) < 0.8


UNEQUAL = [[10.1, 11.4, 9.8, 10.6], [12.9, 13.3], [8.0, 9.1, 8.7], [11.0, 12.4, 11.1, 10.2, 11.9]]


def restricted_deviance(between: float, within: float) -> float:
    """Work out -2 log of the restricted likelihood with whole matrices (Patterson, Thompson)."""
    import numpy as np

    values = np.array([v for group in UNEQUAL for v in group])
    places = np.array([n for n, group in enumerate(UNEQUAL) for _ in group])
    spread = within * np.eye(len(values)) + between * (places[:, None] == places[None, :])
    ones = np.ones((len(values), 1))
    inverse = np.linalg.inv(spread)
    weight = (ones.T @ inverse @ ones).item()
    middle = (ones.T @ inverse @ values).item() / weight
    rest = values - middle
    return float(np.linalg.slogdet(spread)[1] + math.log(weight) + rest @ inverse @ rest)


def test_components_of_unequal_groups_have_the_greatest_restricted_likelihood() -> None:
    found = likely_components(UNEQUAL)
    assert found is not None
    best = restricted_deviance(found.between, found.within)
    for more in (0.97, 1.03):
        assert restricted_deviance(more * found.between, found.within) > best
        assert restricted_deviance(found.between, more * found.within) > best


def test_components_of_unequal_groups_by_mean_squares() -> None:
    """By hand: n0 = (14 - 54/14)/3 repeats stand for unequal ones (textbook)."""
    found = one_way(UNEQUAL)
    assert found is not None
    known = stats.f_oneway(*UNEQUAL)
    assert (found.f, found.p) == pytest.approx((known.statistic, known.pvalue))
    squares = found.ss_between / 3
    assert found.between == pytest.approx((squares - found.within) / ((14 - 54 / 14) / 3))


@pytest.mark.parametrize("repeats_each", [3, 4, 6])
@pytest.mark.parametrize("goal", [0.05, 0.5, 0.8])
def test_400_experiments_err_and_find_as_often_as_predicted(goal: float, repeats_each: int) -> None:
    """Seeded prints that spread by a factor of 1.4; with rooms and parts: `python -m trialling`."""
    import numpy as np

    dice = np.random.default_rng([repeats_each, round(100 * goal)])
    d = 0.0
    while goal > 0.05 and welch_power(d, repeats_each) < goal:
        d += 0.01
    predicted = welch_power(d, repeats_each)
    seen = 0
    for _ in range(400):
        one, other = dice.normal(d, 1, repeats_each), dice.normal(0, 1, repeats_each)
        test = welch(list(map(float, one)), list(map(float, other)))
        seen += test.p is not None and test.p < 0.05
    assert seen / 400 == pytest.approx(predicted, abs=0.05)
    assert goal > 0.05 or seen / 400 <= 0.075


FAMILIES = [
    ((3, 3, 3, 3), (1, 1, 4, 4)),
    ((2, 3, 5, 8), (4, 4, 1, 1)),
    ((2, 2, 10, 10), (4, 4, 1, 1)),
    ((2, 10), (4, 1)),
]


@pytest.mark.parametrize(("sizes", "spreads"), FAMILIES)
def test_400_experiments_err_no_oftener_than_stated_whatever_spreads_and_repeats(
    sizes: tuple[int, ...], spreads: tuple[float, ...]
) -> None:
    """All conditions emit the same. 100,000 experiments each by numpy: at most 6.6 of 100, where
    three repeats stand against six or more; at most 5.4 with four conditions of 3, 4, 6, 10."""
    from itertools import combinations

    import numpy as np

    dice = np.random.default_rng([len(sizes), *sizes])
    pairs = list(combinations(range(len(sizes)), 2))
    seen = 0
    for _ in range(400):
        made = [list(map(float, dice.normal(0, s, n))) for n, s in zip(sizes, spreads, strict=True)]
        owns = [Own(made[i], made[j], welch(made[i], made[j])) for i, j in pairs]
        chances = sidak([own.chance() for own in owns])
        seen += min(p for p in chances if p is not None) < 0.05
    assert seen / 400 <= 0.075


def test_the_bound_for_two_against_more_by_hand() -> None:
    """Banerjee 1960 (from memory): t² = Σ share of the variance · t²(n - 1), at that chance."""
    one, other = [1.0, 2.0], [4.0, 5.5, 4.4, 6.1, 5.2]
    test = welch(one, other)
    p = Own(one, other, test).chance()
    assert p is not None
    assert test.t is not None
    a, b = 0.5 / 2, float(stats.tvar(other)) / 5
    squared = a * stats.t.isf(p / 2, 1) ** 2 + b * stats.t.isf(p / 2, 4) ** 2
    assert squared / (a + b) == pytest.approx(test.t**2, rel=1e-8)


@pytest.mark.parametrize(("m", "d"), [(3, 4), (10, 3), (10, 0)])
def test_power_of_two_against_more_is_what_trials_of_it_show(m: int, d: float) -> None:
    """Against 100,000 tests by numpy with seeded normal numbers."""
    import numpy as np

    dice = np.random.default_rng(8)
    one, other = dice.normal(d, 1, (100_000, 2)), dice.normal(0, 1, (100_000, m))
    a, b = one.var(1, ddof=1) / 2, other.var(1, ddof=1) / m
    t2 = (one.mean(1) - other.mean(1)) ** 2
    needed = a * stats.t.isf(0.025, 1) ** 2 + b * stats.t.isf(0.025, m - 1) ** 2
    assert own_power(d, 2, m, 0.05) == pytest.approx((t2 > needed).mean(), abs=0.006)


def test_sidaks_share() -> None:
    """By hand: 1 - (1 - 0.02)³ = 0.058808; what was not tested counts not."""
    assert sidak([0.02, None, 0.5, 1.0]) == pytest.approx([0.058808, None, 0.875, 1.0])
