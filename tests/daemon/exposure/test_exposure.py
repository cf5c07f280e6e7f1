"""`ventwright exposure`: known air and known hours, and what a person must have taken in."""

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from aired import CONFIGURATION, HOUR, MIDNIGHT, configure, fill, steady
from ventwright.cli import main

PEOPLE = """
[people.pupils]
hours = ["mon-fri 08:00-13:00"]
age = 12
activity = "sedentary"
weight = 40
"""


@pytest.fixture(autouse=True)
def utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def call(*words: str) -> Result:
    result = CliRunner().invoke(main, ["exposure", *words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def told(*words: str) -> Any:
    result = call(*words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def a_thursday(folder: Path) -> Path:
    """Thursday at 20 and 30 µg/m³ and 25 ppm from seven to half past one, and nothing else."""
    air = {"bench": steady(200, 300), "gas": steady(2500)}
    fill(folder, air, MIDNIGHT + 7 * HOUR, MIDNIGHT + 13 * HOUR + HOUR // 2)
    return configure(folder, CONFIGURATION + PEOPLE)


def test_a_person_of_the_configuration(tmp_path: Path) -> None:
    config = str(a_thursday(tmp_path))
    found = told("pupils", "--day", "2026-09-24", "--config", config, "--share", "0.002")
    (day,) = found["days"]
    assert day["hours"] == 5
    assert day["in the room"][0]["from"].startswith("2026-09-24T08:00")
    pm = {one["channel"]: one for one in day["channels"]}["bench.pm2_5"]
    assert pm["mean"] == pytest.approx(20, abs=1e-6)
    rate = 5.4e-3 * 60  # handbook 2011, table 6-2: 11 to 15 years, sedentary (from memory)
    assert pm["breathed in, µg"] == pytest.approx(20 * 5 * rate, rel=1e-4)
    (who, _) = pm["day's guideline"]
    assert who["share taken"] == pytest.approx(20 * 5 / (15 * 24), abs=1e-4)
    assert who["mean left for the rest of the day"] == pytest.approx((360 - 100) / 19, rel=1e-3)
    assert pm["intake"]["pg/kg"] == pytest.approx(20 * 5 * rate * 0.002 * 1e6 / 40, rel=1e-3)
    assert "at work" not in pm
    assert any("ultrafine" in caution for caution in found["cautions"])
    assert any("no medical advice" in caution for caution in found["cautions"])


def test_days_are_summed_and_a_day_without_readings_is_not_clean(tmp_path: Path) -> None:
    config = str(a_thursday(tmp_path))
    found = told("pupils", "--day", "2026-09-27", "--days", "7", "--config", config)
    assert [day["hours"] for day in found["days"]] == [5, 5, 5, 5, 5, 0, 0]  # Monday to Sunday
    total = {one["channel"]: one for one in found["total"]}
    assert total["bench.pm2_5"]["hours"] == 5
    text = call("pupils", "--day", "2026-09-27", "--days", "7", "--config", config).stdout
    assert "Thursday 24 September 2026: in the room 08:00 to 13:00, 5 h" in text
    assert "Friday 25 September 2026: nothing was recorded while in the room" in text
    assert "Monday 21 September 2026 to Wednesday 23 September 2026: nothing was recorded" in text
    assert text.count("nothing was recorded") == 2  # before, and the Friday after
    assert "Saturday 26 September 2026: not in the room" in text


def test_hours_by_hand_and_an_adult_at_work(tmp_path: Path) -> None:
    config = str(a_thursday(tmp_path))
    found = told("--hours", "09:00-13:00", "--day", "2026-09-24", "--config", config)
    co = {one["channel"]: one for one in found["days"][0]["channels"]}["gas.co"]
    work = {one["key"]: one for one in co["at work"]}
    assert work["osha-co-8h"]["value"] == pytest.approx(25 * 4 / 8)
    assert work["niosh-co-ceiling"]["value"] == pytest.approx(25)
    assert found["person"]["age"] == 35


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--share", "0.1", "--spent", "1 h at 3", "--quantity", "pm2_5"), "say --weight KG"),
        (("--spent", "1 h at 3"), "Say --quantity beside --spent"),
        (("--spent", "30 h at 3", "--quantity", "pm2_5"), "30 h: above 0 and up to 24 h"),
        (("--spent", "an hour"), 'is not as in "2 h at 150"'),
        (("--hours", "mornings"), "hours such as"),
        (("--mixture", "half"), 'is not as in "45/200"'),
        (("--mixture", "1/0"), 'is not as in "45/200"'),
    ],
)
def test_mistakes_get_a_sentence(words: tuple[str, ...], says: str) -> None:
    result = call(*words)
    assert result.exit_code in (1, 2)
    assert says in result.stderr


def test_an_unknown_person_and_no_hours_get_a_sentence(tmp_path: Path) -> None:
    config = str(a_thursday(tmp_path))
    assert "people there: pupils" in call("ada", "--config", config).stderr
    assert "When was somebody in the room?" in call("--config", config).stderr


def test_a_missing_store_gets_a_sentence(tmp_path: Path) -> None:
    config = str(configure(tmp_path))
    result = call("--hours", "08:00-09:00", "--config", config)
    assert result.exit_code == 1
    assert "could not be read" in result.stderr
