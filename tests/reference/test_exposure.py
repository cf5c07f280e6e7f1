"""Exposure against the outside: OSHA's examples, and published inhalation rates.

Sources, as noted in reference/limits.md: 29 CFR 1910.1000(d)(1)(ii) and (d)(2)(ii) (confirmed);
US EPA, Exposure Factors Handbook 2011, tables 6-1 and 6-2 (from memory); EFSA 2023 (from memory).
"""

import json
from typing import Any

import pytest
from click.testing import CliRunner

from ventwright.cli import main
from ventwright.exposure.dose import inhaled, picograms_a_kilogram, share_of_day
from ventwright.exposure.telling import mixtures
from ventwright.standards.breathing import ACTIVITIES, BISPHENOL_A, breathing
from ventwright.standards.shift import mixture


def told(*words: str) -> Any:
    return json.loads(CliRunner().invoke(main, ["exposure", *words, "--json"]).stdout)


def test_the_shift_of_the_regulation() -> None:
    """1910.1000(d)(1)(ii): 2 h at 150, 2 h at 75 and 4 h at 50 ppm are 81.25 ppm over 8 h."""
    spent = [word for one in ("2 h at 150", "2 h at 75", "4 h at 50") for word in ("--spent", one)]
    (day,) = told(*spent, "--quantity", "co")["days"]
    assert day["channels"][0]["time-weighted over 8 h"] == 81.25
    work = {one["key"]: one for one in day["channels"][0]["at work"]}
    assert work["osha-co-8h"]["value"] == 81.25
    assert work["osha-co-8h"]["share"] == pytest.approx(81.25 / 50)
    assert work["niosh-co-10h"]["value"] == 65
    said = told(*spent, "--quantity", "co")["cautions"]
    assert "certified CO alarms stay" in str(said)
    assert "CO alarms" not in str(told(*spent, "--quantity", "pm10")["cautions"])


def test_the_mixture_of_the_regulation() -> None:
    """1910.1000(d)(2)(ii): 500/1000 + 45/200 + 40/200 is 0.925; ours sums the same shares."""
    assert mixture([(500, 1000), (45, 200), (40, 200)]) == pytest.approx(0.925)
    shares = [word for one in ("500/1000", "45/200", "40/200") for word in ("--mixture", one)]
    assert told(*shares) == {"mixture": 0.925, "exceeded": False}
    assert told(*shares, "--mixture", "20/200")["exceeded"]
    assert not told(*shares, "--mixture", "75/1000")["exceeded"]  # exactly 1
    shares = [("osha-hcho-8h", 0.5), ("osha-co-8h", 0.425), ("osha-co-8h", 0.4)]
    channels = [{"at work": [{"key": key, "share": share}]} for key, share in shares]
    assert mixtures(channels) == {"OSHA PEL": 0.925}


@pytest.mark.parametrize(
    ("age", "activity", "rate"),
    [
        (25, "light", 0.72),  # reference/limits.md, section 5, by the hour (computed)
        (25, "moderate", 1.56),
        (25, "high", 3.0),
        (8, "sedentary", 60 * 4.8e-3),
        (15, "high", 60 * 4.9e-2),
        (60, "sleep", 60 * 5.2e-3),
        (0, "sleep", 5.4 / 24),
        (5, "high", 10.1 / 24),
        (61, "light", 14.2 / 24),
        (100, "light", 12.2 / 24),
    ],
)
def test_inhalation_rates_of_the_handbook(age: int, activity: str, rate: float) -> None:
    assert breathing(age, activity).rate == pytest.approx(rate)


def test_a_day_of_sleep_rest_and_light_work_is_near_the_days_mean() -> None:
    """8 h of each by table 6-2 are 9.8 m³ at 21 to 30 years; table 6-1 has a day at 15.7 m³."""
    spent = sum(8 * breathing(25, activity).rate for activity in ("sleep", "sedentary", "light"))
    assert spent == pytest.approx(8 * 60 * (4.3e-3 + 4.2e-3 + 1.2e-2))
    assert 0.5 < spent / 15.7 < 1


def test_mass_breathed_in() -> None:
    """10 m³ an 8-h day at 0.05 mg/m³ would be 500 µg: concentration x rate x hours."""
    assert inhaled([(50, 8)], 10 / 8) == pytest.approx(500)
    assert inhaled([(20, 1), (0, 5), (40, 2)], 0.72) == pytest.approx(100 * 0.72)


def test_the_rest_of_a_guideline() -> None:
    """WHO 2021, 15 µg/m³ over 24 h: 8 h at 45 use all of it, 8 h at 15 a third."""
    assert share_of_day([(45, 8)], 15).taken == pytest.approx(1)
    assert share_of_day([(45, 8)], 15).mean_left == pytest.approx(0)
    third = share_of_day([(15, 8)], 15)
    assert (third.taken, third.mean_left) == (pytest.approx(1 / 3), pytest.approx(15))
    assert share_of_day([(1, 24)], 15).mean_left is None


def test_acceptable_intake_of_bisphenol_a() -> None:
    """EFSA 2023 (from memory): 200 pg/kg a day: 14 ng for 70 kg, 14 µg at a share of 0.1 %."""
    assert BISPHENOL_A.picograms == 200
    assert picograms_a_kilogram(14, 0.001, 70) == pytest.approx(200)
    with pytest.raises(ValueError, match="share"):
        picograms_a_kilogram(1, 1.5, 70)
    with pytest.raises(ValueError, match="weight"):
        picograms_a_kilogram(1, 0.1, 0)


@pytest.mark.parametrize(("age", "activity"), [(-1, "light"), (121, "light"), (30, "running")])
def test_what_is_no_person_is_refused(age: int, activity: str) -> None:
    with pytest.raises(ValueError, match=r"is no (age|activity)"):
        breathing(age, activity)


@pytest.mark.parametrize("age", range(0, 121, 5))
def test_more_activity_never_needs_less_air(age: int) -> None:
    """But for sleep and rest, which the handbook has nearly alike."""
    rates = [breathing(age, activity).rate for activity in ACTIVITIES]
    assert rates[2] <= rates[3] <= rates[4]
    assert rates[0] == pytest.approx(rates[1], rel=0.2)
