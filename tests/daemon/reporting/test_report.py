"""`ventwright report day` and `week`: known days, and what must be told of them."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from aired import HOUR
from daemon.reporting.pages import alone
from daemon.reporting.weeks import FRIDAY, PRINT, THURSDAY, WEDNESDAY, fill
from ventwright.cli import main
from ventwright.drawing import png as painting
from ventwright.drawing.calendar import Grid, calendar
from ventwright.reporting.digest import digest, digest_title
from ventwright.reporting.facts import facts
from ventwright.reporting.gathered import Gathered
from ventwright.reporting.happenings import _Finder
from ventwright.reporting.periods import day_of, span_of, week_of
from ventwright.reporting.pictures import bounds, hour_of_day
from ventwright.settings.model import Settings
from ventwright.storage.reader import StoredEvent
from ventwright_drivers.quantities import QUANTITIES


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Settings]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "UTC")
        time.tzset()
        yield fill(tmp_path_factory.mktemp("week"))
    time.tzset()


@pytest.fixture
def told(settings: Settings) -> dict[str, Any]:
    return facts(Gathered(settings, week_of(THURSDAY), FRIDAY))


def report(settings: Settings, *words: str) -> Result:
    config = settings.store.folder / "ventwright.toml"
    result = CliRunner().invoke(main, ["report", *words, "--config", str(config)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def test_a_week_is_told_from_monday_to_now(told: dict[str, Any]) -> None:
    assert told["title"] == "Week of 21 to 27 September 2026"
    assert not told["over"]
    (bench,) = told["channels"]
    assert told["since"] == "2026-09-23T00:00:00+00:00"  # there was no store before
    assert bench["coverage"] == pytest.approx(46 / 48, abs=1e-3)
    assert bench["mean"] == pytest.approx((3 * 100 + 43 * 4) / 46, abs=0.01)
    assert bench["worst hour"] == {"mean": 100, "from": "2026-09-24T09:00:00+00:00"}
    assert [day["mean"] for day in told["days"]] == [None, None, pytest.approx(4), 16]
    assert [day["above"] for day in told["days"]] == [None, None, False, True]


def test_time_above_a_limit_counts_its_own_averaging_time(told: dict[str, Any]) -> None:
    limits = {one["key"]: one for one in told["channels"][0]["limits"]}
    who = limits["who-pm2_5-24h"]
    assert who["highest"] == pytest.approx((3 * 100 + 19 * 4) / 22, abs=0.01)  # 2 h are not known
    above_from = PRINT[0] + (15 - 4) * 22 * HOUR / 96  # (4 x 22 + 96 h) / 22 is above 15 from there
    assert who["minutes above"] == pytest.approx((FRIDAY - above_from) / 60_000, abs=2)
    assert limits["epa-pm2_5-24h"]["minutes above"] == 0


def test_alarms_runs_and_losses(told: dict[str, Any]) -> None:
    assert told["alarms"]["raised"] == 1
    assert told["alarms"]["by alarm"] == {"print": 1}
    (episode,) = told["alarms"]["episodes"]
    assert (episode["minutes"], episode["peak"], episode["acknowledged"]) == (180, 100, True)
    (fan,) = told["extractors"]
    assert (fan["hours"], fan["runs"], fan["longest, min"]) == (4, 1, 240)
    (loss,) = told["losses"]
    assert (loss["what"], loss["minutes"], loss["why"]) == ("part bench", 120, "no frame came")


def test_a_run_that_reaches_into_the_day_counts_from_its_beginning(settings: Settings) -> None:
    span = span_of(PRINT[0] + HOUR, PRINT[1])
    told = facts(Gathered(settings, span, FRIDAY))
    assert told["extractors"][0]["hours"] == 2
    assert told["alarms"]["raised"] == 0
    assert len(told["alarms"]["episodes"]) == 1


def test_the_digest_is_short_and_says_what_counts(settings: Settings) -> None:
    told = facts(Gathered(settings, day_of(THURSDAY), FRIDAY + HOUR))
    text = digest(told)
    assert digest_title(told) == "class room <i>: Thursday, 24 September 2026"
    assert text.startswith(
        "PM2.5 was above the guideline for a day. The worst hour had 100 µg/m³: Thursday 24 Sep, "
        "9 to 10 h."
    )
    assert "fan ran 4 h 00 min, 1 time." in text
    assert "Alarms: 1 (print 1)." in text
    assert "pupils: 5 h in the room, 100 µg breathed in." in text  # 308 µg h/m³ x 0.324 m³/h
    assert "Ultrafine particles are not seen." in text
    assert len(text) < 1000


def test_a_day_of_which_nothing_is_known_is_not_clean(settings: Settings) -> None:
    told = facts(Gathered(settings, day_of(FRIDAY + 30 * HOUR), FRIDAY + 50 * HOUR))
    text = digest(told)
    assert text.startswith("Too little is known: PM2.5 was measured for 0 % of the time.")
    assert "bench measured for 0 % of the time only: look at its cable" in text
    assert "Nothing needs doing" not in text


@pytest.mark.parametrize(
    "words", [("day", "--day", "2026-09-24"), ("week", "--day", "2026-09-24"),
              ("span", "--from", "2026-08-01", "--to", "2026-10-01")], ids=lambda words: words[0]
)  # fmt: skip
def test_the_page_needs_nothing_from_elsewhere(
    settings: Settings, tmp_path: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ventwright.commands.report._now", lambda: FRIDAY + HOUR)
    out = tmp_path / "report.html"
    result = report(settings, *words, "--out", str(out))
    assert result.exit_code == 0, result.output
    shown = alone(out.read_text(encoding="utf-8"))
    assert "class room <i>" in shown
    assert "do not see ultrafine particles" in shown


def test_pictures_are_written_too(
    settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = str(tmp_path / "r.html")
    words = ("week", "--day", "2026-09-24", "--out", out, "--png", str(tmp_path))
    assert report(settings, *words).exit_code == 0
    assert (tmp_path / "week-2026-09-21-hours.png").read_bytes().startswith(b"\x89PNG")

    def gone() -> None:
        raise painting.NoPainterError(painting.MISSING)

    monkeypatch.setattr(painting, "painter", gone)
    result = report(settings, *words)
    assert result.exit_code == 1
    assert "pip install 'ventwright[analysis]'" in result.stderr
    assert Path(out).exists()


def test_without_the_extra_the_page_is_whole(settings: Settings, tmp_path: Path) -> None:
    """numpy, scipy and matplotlib cannot be imported; pictures and tables are there anyway."""
    code = (
        "import sys\n"
        "for name in ('numpy', 'scipy', 'matplotlib'): sys.modules[name] = None\n"
        "from ventwright.cli import main\n"
        "main(sys.argv[1:])"
    )
    config, out = settings.store.folder / "ventwright.toml", tmp_path / "r.html"
    words = ["report", "day", "--day", "2026-09-24", "--config", str(config), "--out", str(out)]
    environ = {"TZ": "UTC", "PATH": ""}
    run = [sys.executable, "-c", code, *words]
    done = subprocess.run(run, capture_output=True, text=True, check=False, env=environ)
    assert done.stdout == f"{out} holds the report; any browser shows it.\n"
    assert "guideline for a day 15" in alone(out.read_text(encoding="utf-8"))
    done = subprocess.run(
        [*run, "--png", str(tmp_path)], capture_output=True, text=True, check=False, env=environ
    )
    assert done.returncode == 1
    assert done.stderr == f"{painting.MISSING}\n"


def test_facts_as_json_and_mistakes_as_sentences(settings: Settings, tmp_path: Path) -> None:
    told = json.loads(report(settings, "day", "--day", "2026-09-23", "--json").stdout)
    assert told["days"][0]["mean"] == pytest.approx(4)
    assert "Nothing needs doing." in report(settings, "day", "--day", "2026-09-23", "--text").stdout
    ends = report(settings, "span", "--from", "2026-09-24", "--to", "2026-09-23")
    assert ends.stderr == "No report: the end must be after the beginning.\n"
    late = report(settings, "week", "--day", "2126-09-24")
    assert late.exit_code == 1
    assert "is still to come" in late.stderr
    bad = report(settings, "day", "--day", "2026-09-23", "--out", str(tmp_path / "no" / "r.html"))
    assert "could not be written: No such file" in bad.stderr


def test_weeks_and_days_by_the_local_clock() -> None:
    assert week_of(WEDNESDAY).begins == WEDNESDAY - 48 * HOUR
    assert [end - begin for begin, end in week_of(WEDNESDAY).days] == [24 * HOUR] * 7
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "Europe/Berlin")
        time.tzset()
        week = week_of(WEDNESDAY + 32 * 24 * HOUR)
        assert [(end - begin) / HOUR for begin, end in week.days] == [24] * 6 + [25]
        assert week.title == "Week of 19 to 25 October 2026"
    time.tzset()


def test_a_quantity_without_a_guideline_has_steps_of_its_own(settings: Settings) -> None:
    week = week_of(THURSDAY)
    report = replace(settings.report, channel="bench.pm2_5")
    gathered = Gathered(replace(settings, report=report), week, FRIDAY)
    assert bounds(gathered) == [5, 10, 15, 30, 60]
    gathered.main.quantity = QUANTITIES["pm1"]
    assert bounds(gathered) == [20, 40, 60, 80, 100]
    assert calendar(Grid("a", "b", "c", ["Mon"], [], bounds(gathered))).shapes


def test_a_daemon_that_was_stopped_is_lost_until_it_starts() -> None:
    def event(t: int, kind: str, subject: str, **body: Any) -> StoredEvent:
        return StoredEvent(t, 1, t, kind, subject, body)

    finder = _Finder()
    finder.take(5, event(5, "extractor", "fan", on=True, to="extracting"))
    finder.take(10, event(10, "keeper", "", change="stopped", why=""))
    finder.take(90, event(90, "keeper", "", change="started", why="stopped", missed=80))
    finder.take(200, event(200, "extractor", "fan", on=True, to="extracting"))
    finder.take(300, event(300, "keeper", "", change="started", why="it died", missed=40))
    assert [(loss.begins, loss.ends) for loss in finder.all.losses] == [(10, 90), (260, 300)]
    assert [(run.begins, run.ends) for run in finder.all.runs] == [(5, 10), (200, 260)]


def test_hours_of_a_day_on_which_the_clock_changes() -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "Europe/Berlin")
        time.tzset()
        spring, autumn = datetime(2026, 3, 29), datetime(2026, 10, 25)
        for day, odd, length in ((spring, 2, 0), (autumn, 2, 2)):
            hours = [hour_of_day(day, hour) for hour in range(24)]
            lengths = [(end - begin) / HOUR for begin, end in hours]
            assert lengths[odd] == length
            assert sum(lengths) == 23 + length
            assert all(one[1] == two[0] for one, two in pairwise(hours))
    time.tzset()
