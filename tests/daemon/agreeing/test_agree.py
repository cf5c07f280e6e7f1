"""`ventwright agree`: parts whose disagreement is known, and what is said and written of it."""

import json
import math
import random
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from aired import HOUR, MIDNIGHT, MINUTE
from ventwright.cli import main
from ventwright.events import Readings, Record
from ventwright.quality.marks import Quality
from ventwright.settings.load import load
from ventwright.settings.model import Calibration
from ventwright.storage.writer import Writer

CONFIGURATION = """# My room.
[room]
name = "workshop"
volume = 40
[store]
folder = "{folder}"
[parts.bench]
model = "pms5003"
port = "/nowhere/bench"
quantities = ["pm2_5"]
# About the door.
[parts.door]
model = "pms5003"
port = "/nowhere/door"
[parts.climate]
model = "sht40"
"""

END = MIDNIGHT + 12 * HOUR


@pytest.fixture
def config(tmp_path: Path) -> Path:
    file = tmp_path / "ventwright.toml"
    file.write_text(CONFIGURATION.format(folder=tmp_path))
    file.chmod(0o640)
    return file


def print_air(t: int) -> float:
    """A print every two hours: up within minutes, down within an hour, µg/m³."""
    return 5 + 60 * math.exp(-((t - MIDNIGHT) % (2 * HOUR)) / (30 * MINUTE))


def still_air(_: int) -> float:
    return 5.0


def fill(
    folder: Path,
    air: Any = print_air,
    offset: float = 0.0,
    slope: float = 1.0,
    noise: float = 0.5,
    hours: float = 6,
    mark: int = Quality.GOOD,
    calibrations: tuple[tuple[float, dict[str, list[float]]], ...] = (),
) -> None:
    """Store both parts: what the door shows is offset + slope x what the bench shows.

    `calibrations`: what the keeper told at its starts, so many hours after the begin.
    """
    dice = random.Random(1)
    start = round(END - hours * HOUR)
    store = Writer(folder, "boot", start)
    store.part("bench", "pms5003", ("pm2_5",))
    store.part("door", "pms5003", ("pm2_5", "pm10"))
    store.settle(start)
    for after, words in calibrations:
        body = {"change": "started", "why": "", "missed": None, "calibration": words}
        store.add(Record(round(after * HOUR), "keeper", "keeper", body))
    for t in range(start + 5000, END + 1, 5000):
        truth = air(t)
        told = [words for after, words in calibrations if t - start >= after * HOUR]
        in_force = Calibration(*told[-1].get("bench.pm2_5", ())) if told else Calibration()
        shown = in_force.slope * (truth + dice.gauss(0, noise)) + in_force.offset
        bench = max(0, round(10 * shown))
        door = max(0, round(10 * (offset + slope * truth + dice.gauss(0, noise))))
        store.add(Readings(t - start, "bench", (bench,), bytes([mark])))
        store.add(Readings(t - start, "door", (door, door), bytes([mark]) * 2))
    store.commit()
    store.close()


def call(config: Path, *words: str) -> Result:
    words = words or ("bench", "door")
    command = ["agree", *words, "--config", str(config), "--until", "2026-09-24T12:00+00:00"]
    result = CliRunner().invoke(main, command)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def told(config: Path) -> dict[str, Any]:
    result = call(config, "bench", "door", "--json")
    assert result.exit_code == 0, result.output
    (found,) = json.loads(result.stdout)["quantities"]
    return dict(found)


def test_a_known_disagreement_is_found(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, offset=2, slope=1.3)
    found = told(config)
    both = found["both err"]
    assert found["pairs"] == 360
    assert both["slope"] == pytest.approx(1.3, abs=4 * both["slope standard error"])
    assert both["offset"] == pytest.approx(2, abs=4 * both["offset standard error"])
    assert both["slope standard error"] < 0.01
    assert found["calibration"]["slope"] == pytest.approx(1.3, abs=0.02)
    assert found["advice"].endswith("make bench read like door")


def test_it_is_said_in_lines(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, offset=2, slope=1.3)
    text = call(config).stdout
    assert text.startswith("PM2.5 in µg/m³, 360 pairs: bench ")
    assert "  least squares: door = " in text
    assert "door is no standard: bench is made to read like it, not to read right." in text
    assert "PM10" not in text


def test_parts_that_agree_need_nothing(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, offset=0.05, slope=1.002)
    found = told(config)
    assert found["advice"] == "within noise: no correction is needed"
    assert found["calibration"] is None


def test_still_air_says_nothing(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, still_air, offset=3)
    found = told(config)
    assert found["advice"].startswith("the spread is too small to say anything")
    assert found["both err"] is None


def test_half_an_hour_is_too_little(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, slope=1.3, hours=0.5)
    assert told(config)["advice"].startswith("only 30 pairs, 40 are needed")


def test_a_wild_difference_is_not_taken_lightly(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, slope=2.6)
    assert "parts seldom differ by so much" in told(config)["advice"]


def test_longer_means_give_fewer_pairs(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, slope=1.3)
    assert "72 pairs" in call(config, "bench", "door", "--over", "5 min").stdout


def test_nothing_is_written_unless_asked(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, slope=1.3)
    before = config.read_text()
    call(config)
    assert config.read_text() == before


def test_it_is_written_when_asked_and_all_else_stays(config: Path, tmp_path: Path) -> None:
    fill(tmp_path, offset=2, slope=1.3)
    before = config.read_text()
    result = call(config, "bench", "door", "--write")
    assert f"Written to {config}: the calibration of bench.pm2_5." in result.stdout
    after = config.read_text()
    assert after.startswith(before)
    assert "# From `ventwright agree bench door`, " in after
    calibration = load(config, {}).parts["bench"].calibration["pm2_5"]
    assert calibration.slope == pytest.approx(1.3, abs=0.02)
    assert config.stat().st_mode & 0o777 == 0o640


def test_a_second_run_goes_on_from_the_first(config: Path, tmp_path: Path) -> None:
    """Stored values have the calibration in them: the new one does what both do, once."""
    config.write_text(
        config.read_text().replace(
            "# About",
            "[parts.bench.calibration.pm2_5]\n# by hand\noffset = 1\nslope = 2 # twice\n# About",
        )
    )
    fill(tmp_path, offset=2, slope=1.3)
    call(config, "bench", "door", "--write")
    text = config.read_text()
    assert text.count("calibration.pm2_5]") == 1
    assert "# by hand\n# About the door.\n[parts.door]" in text
    calibration = load(config, {}).parts["bench"].calibration["pm2_5"]
    assert calibration.slope == pytest.approx(2.6, abs=0.04)
    assert calibration.offset == pytest.approx(2 + 1.3 * 1, abs=0.2)


HALF_DONE = ((0.0, {}), (3.0, {"bench.pm2_5": [2.0, 1.3]}))
"""Calibrated in the middle of the time that is looked at."""


def calibrated(config: Path) -> None:
    text = config.read_text()
    config.write_text(f"{text}[parts.bench.calibration.pm2_5]\noffset = 2\nslope = 1.3\n")


def test_a_second_run_over_the_same_readings_does_not_correct_twice(
    config: Path, tmp_path: Path
) -> None:
    fill(tmp_path, offset=2, slope=1.3, calibrations=((0.0, {}),))
    call(config, "bench", "door", "--write")
    first = load(config, {}).parts["bench"].calibration["pm2_5"]
    assert first.slope == pytest.approx(1.3, abs=0.02)
    again = told(config)
    assert again["advice"] == "within noise: no correction is needed"
    text = config.read_text()
    assert "Nothing was written." in call(config, "bench", "door", "--write").stdout
    assert config.read_text() == text


def test_readings_of_before_and_after_a_calibration_are_put_on_one_footing(
    config: Path, tmp_path: Path
) -> None:
    fill(tmp_path, offset=2, slope=1.3, calibrations=HALF_DONE)
    calibrated(config)
    assert told(config)["both err"]["slope"] == pytest.approx(1, abs=0.02)
    assert told(config)["advice"] == "within noise: no correction is needed"
    config.write_text(CONFIGURATION.format(folder=tmp_path))  # taken out again
    assert told(config)["both err"]["slope"] == pytest.approx(1.3, abs=0.02)


def test_parts_that_were_found_to_disagree_are_what_it_is_for(config: Path, tmp_path: Path) -> None:
    pair = '[same_air.dust]\nchannels = ["bench.pm2_5", "door.pm2_5"]\ntolerance = 1\nshare = 0\n'
    config.write_text(config.read_text() + pair)
    fill(tmp_path, offset=2, slope=1.3, mark=Quality.INCONSISTENT_PARTS)
    assert told(config)["calibration"]["slope"] == pytest.approx(1.3, abs=0.02)


def test_what_cannot_be_put_in_is_not_half_done(config: Path, tmp_path: Path) -> None:
    line = "calibration = {pm2_5 = {slope = 1.1}}\n"
    config.write_text(config.read_text().replace("# About", line + "# About"))
    before = config.read_text()
    fill(tmp_path, slope=1.3)
    result = call(config, "bench", "door", "--write")
    assert result.exit_code == 1
    assert result.stderr.startswith("Nothing was written.\n")
    assert config.read_text() == before
    assert load(config, {}).parts["bench"].calibration == {"pm2_5": Calibration(0, 1.1)}


def test_nothing_is_written_where_nothing_is_needed(config: Path, tmp_path: Path) -> None:
    fill(tmp_path)
    before = config.read_text()
    assert "Nothing was written." in call(config, "bench", "door", "--write").stdout
    assert config.read_text() == before


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("bench", "bench"), "A part agrees with itself; name two.\n"),
        (("bench", "dor"), "There is no part dor; parts here: bench, door or climate.\n"),
        (("bench", "climate"), "bench and climate have no quantity in common.\n"),
        (("bench", "door", "--from", "2027-01-01"), "The time ends before it begins.\n"),
    ],
)
def test_what_makes_no_sense_is_one_sentence(
    config: Path, tmp_path: Path, words: tuple[str, ...], sentence: str
) -> None:
    fill(tmp_path, hours=0.1)
    result = call(config, *words)
    assert (result.exit_code, result.stderr) == (1, sentence)


def test_without_a_store_it_ends_with_a_sentence(config: Path) -> None:
    result = call(config)
    assert result.exit_code == 1
    assert "could not be read" in result.stderr
