"""A CSV as a log: what is taken, how it is judged, and the one sentence where it cannot be."""

import json
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import rooms
from ventwright.cli import main
from ventwright.events import LocalTime
from ventwright.replaying.errors import ReplayError
from ventwright.replaying.outcome import Outcome, replay_csv
from ventwright.replaying.recorded import RecordedLog
from ventwright.replaying.rules import shipped_rules
from ventwright.replaying.table import Table
from ventwright.settings.model import Settings

T0 = 1_790_000_000


def stamp(second: float, zone: Any = UTC) -> str:
    return datetime.fromtimestamp(T0 + second, zone).isoformat()


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    def written(*lines: str, head: str = "time,bench.pm2_5") -> Path:
        path = tmp_path / "log.csv"
        path.write_text("\n".join([head, *lines, ""]), encoding="utf-8")
        return path

    return written


def episode(quiet: int = 900, loud: int = 120, level: int = 60) -> list[str]:
    """Quiet air with a little noise, then a print, then quiet again; a row a second."""
    values = [5 + n % 3 for n in range(quiet)]
    values += [level + n % 5 for n in range(loud)] + [5 + n % 3 for n in range(quiet)]
    return [f"{stamp(n)},{value}" for n, value in enumerate(values)]


def played(path: Path, settings: Settings | None = None) -> Outcome:
    log = RecordedLog(path)
    return replay_csv(log, settings or shipped_rules(log.columns), {}, "these")


def values_of(path: Path) -> list[tuple[int, list[float | None]]]:
    return [(row.t, row.values) for row in Table(path).rows()]


def test_a_print_is_found_with_the_shipped_rules(write: Callable[..., Path]) -> None:
    outcome = played(write(*episode()))
    (one,) = outcome.episodes.all
    assert one.alarm == "print"
    assert 900 < one.since / 1000 - T0 < 960
    assert 1020 < one.until / 1000 - T0 < 1260
    assert one.peak == pytest.approx(57, abs=3)
    assert outcome.counts.total == 1920
    assert outcome.fans.fans["hood"].on >= 180_000
    assert outcome.air.channels["bench.pm2_5"].covered == pytest.approx(1_920_000, abs=2000)


def test_offsets_z_and_naive_times_are_read_and_naive_ones_told(write: Any) -> None:
    east = timezone(timedelta(hours=2))
    naive = datetime.fromtimestamp(T0 + 2.25, UTC).replace(tzinfo=None).isoformat()
    path = write(f"{stamp(0)},1", f"{stamp(1, east)},2", f"{naive}Z,3", f"{naive},4")
    assert [t - T0 * 1000 for t, _ in values_of(path)] == [0, 1000, 2250, 2250]
    told = played(path).notes
    assert "Times without an offset were taken as UTC." in told
    assert any(note.startswith("1 row repeats the time") for note in told)


@pytest.mark.parametrize("cell", ["", " ", "nan", "NaN", "NA", "null", "-"])
def test_missing_cells_are_no_values(write: Any, cell: str) -> None:
    path = write(f"{stamp(0)},{cell},7", head="time,bench.pm2_5,door.co2")
    assert values_of(path) == [(T0 * 1000, [None, 7.0])]
    outcome = played(path)
    assert outcome.counts.words("bench.pm2_5") == {}
    assert outcome.counts.words("door.co2") == {"good": 1}


def test_values_are_judged_by_range_order_and_being_stuck(write: Any) -> None:
    rows = [f"{stamp(n)},{n % 7 + 1},{n % 7 + 2}" for n in range(100)]
    rows += [f"{stamp(100)},9000,9001", f"{stamp(101)},50,20"]
    rows += [f"{stamp(102 + n)},23,24" for n in range(700)]
    outcome = played(write(*rows, head="time,bench.pm1,bench.pm2_5"))
    words = outcome.counts.words("bench.pm2_5")
    assert words == {"good": 700, "out of range": 1, "stuck": 100, "inconsistent": 1}


@pytest.mark.parametrize(("value", "stuck"), [("3", 0), ("11", 100), ("0.3", 0), ("3.1", 100)])
def test_clean_air_in_coarse_steps_is_not_stuck(write: Any, value: str, stuck: int) -> None:
    rows = [f"{stamp(n)},{'4' if n % 2 else value}" for n in range(100)]
    rows += [f"{stamp(100 + n)},{value}" for n in range(700)]
    assert played(write(*rows)).counts.words("bench.pm2_5").get("stuck", 0) == stuck


def test_a_value_that_never_changes_is_stuck_from_the_first_row(write: Any) -> None:
    rows = [f"{stamp(n)},35" for n in range(700)]
    assert played(write(*rows)).counts.words("bench.pm2_5")["stuck"] == 100


@pytest.mark.parametrize("minutes", [5, 11, 60])
def test_rare_rows_have_a_baseline_raise_the_print_alarm_and_leave_nobody_blind(
    write: Any, minutes: int
) -> None:
    day, rows = 1440 // minutes, []
    for n in range(2 * day + 1):
        level = 45 if day < n < day + 360 // minutes + 1 else 5
        rows.append(f"{stamp(60 * minutes * n)},{level + n % 2}")
    outcome = played(write(*rows))
    (one,) = [one for one in outcome.episodes.all if one.alarm == "print"]
    assert one.since / 1000 - T0 == (day + 1) * 60 * minutes + 10
    assert one.until is not None
    fan = outcome.fans.fans["hood"]
    assert "blind" not in fan.states
    assert 350 <= fan.on / 60_000 < 440 + 2 * minutes
    assert "hood is called blind after" in " ".join(outcome.notes)


def test_rows_that_are_years_apart_are_played(write: Any) -> None:
    rows = [f"{datetime(year, 9, 21, tzinfo=UTC).isoformat()},4" for year in (2006, 2016, 2026)]
    assert played(write(*rows)).counts.words("bench.pm2_5") == {"good": 3}


def test_rows_that_come_seldom_are_never_stuck(write: Any) -> None:
    outcome = played(write(*(f"{stamp(60 * n)},3" for n in range(100))))
    assert outcome.counts.words("bench.pm2_5") == {"good": 100}
    assert outcome.air.channels["bench.pm2_5"].covered == 100 * 60_000


def test_parts_have_their_own_pace(write: Any) -> None:
    rows = [f"{stamp(n)},{n % 5},{400 if n % 30 == 0 else ''}" for n in range(600)]
    path = write(*rows, head="time,bench.pm2_5,door.co2")
    log = RecordedLog(path)
    outcome = replay_csv(log, shipped_rules(log.columns), {}, "")
    assert log.periods == {"bench": 1000, "door": 30_000}
    assert outcome.air.channels["door.co2"].covered == 600_000


def test_a_gap_of_hours_is_blind_and_of_days_is_no_time_at_all(write: Any) -> None:
    rows = [f"{stamp(n)},{n % 5}" for n in range(600)]
    hours = [f"{stamp(7200 + n)},{n % 5}" for n in range(60)]
    days = [f"{stamp(400_000 + n)},{n % 5}" for n in range(60)]
    outcome = played(write(*rows, *hours, *days))
    assert 6000_000 < outcome.fans.fans["hood"].states["blind"] < 7200_000
    assert outcome.span.lives == 2
    assert outcome.span.without == pytest.approx((400_000 - 7259) * 1000, abs=10)


def test_columns_that_the_configuration_does_not_have_are_named_and_left_out(write: Any) -> None:
    path = write(f"{stamp(0)},1,2,3", head="time,bench.pm2_5,attic.co2,bench.hcho")
    outcome = played(path, rooms.room())
    assert outcome.notes[0] == "The configuration has no attic.co2, bench.hcho: left out."
    assert outcome.channels() == ["bench.pm2_5"]


def test_the_configured_rules_decide(write: Any) -> None:
    path = write(*episode())
    settings = rooms.room(
        alarms={"mine": rooms.alarm(setpoint=50), "none": rooms.alarm("bench.pm1")}
    )
    outcome = played(path, settings)
    assert {one.alarm for one in outcome.episodes.all} == {"mine"}
    assert "The log has nothing of bench.pm1, which an alarm watches." in outcome.notes


def test_alarms_go_to_every_part_that_has_their_quantity() -> None:
    alarms = shipped_rules(["a.pm2_5", "b.pm2_5", "c.co2"]).alarms
    assert {(n, a.channel) for n, a in alarms.items()} >= {
        ("print-a", "a.pm2_5"), ("print-b", "b.pm2_5"),
    }  # fmt: skip
    assert "print" in shipped_rules(["a.pm2_5"]).alarms
    assert shipped_rules(["c.co2"]).alarms == {}


GOOD = f"{stamp(0)},1"


@pytest.mark.parametrize(
    ("lines", "head", "says"),
    [
        ([GOOD], "when,bench.pm2_5", r"line 1: no column is named \"time\""),
        ([GOOD], "time,bench.pm25", r"line 1: \"bench.pm25\" is no column; .* quantities are pm1"),
        ([GOOD], "time,remark", r"line 1: \"remark\" is no column"),
        ([GOOD], "time,.pm1", r"line 1: \"\.pm1\" is no column"),
        (["x,1,1"], "time,a.pm1,a.pm1", r"line 1: two columns are named \"a.pm1\""),
        ([GOOD, "noon,2"], "", r"line 3: \"noon\" is no time; ISO 8601 is needed"),
        (["0026-09-21T14:00:05Z,2"], "", r"line 2: its year is 26; 1980 to 2199 is allowed"),
        (["0001-01-01T00:00:00+14:00,2"], "", r"line 2: its year is 1; 1980 to 2199"),
        ([GOOD, f"{stamp(1)},much"], "", r"line 3: \"much\" is no number"),
        ([GOOD, f"{stamp(1)},1,2"], "", r"line 3: has 3 cells, and the head has 2"),
        ([GOOD, "", f"{stamp(-1)},1"], "", r"line 4: is earlier than the line before it"),
        ([GOOD, f'{stamp(1)},"1'], "", r"line \d: is no line of a CSV file"),
        ([], "", "has no rows"),
    ],
)
def test_what_cannot_be_read_is_told_in_one_sentence(
    write: Any, lines: list[str], head: str, says: str
) -> None:
    path = write(*lines, head=head or "time,bench.pm2_5")
    with pytest.raises(ReplayError, match=says) as caught:
        played(path)
    text = str(caught.value)
    assert text.startswith(str(path))
    assert text.endswith(".")
    assert "\n" not in text


def test_files_that_are_no_text_or_not_there_are_told(tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_bytes(b"time,bench.pm2_5\n\xff\xfe,1\n")
    with pytest.raises(ReplayError, match="is not UTF-8 text"):
        played(tmp_path / "b.csv")
    (tmp_path / "e.csv").touch()
    with pytest.raises(ReplayError, match="no column is named"):
        played(tmp_path / "e.csv")
    with pytest.raises(ReplayError, match="cannot be read"):
        played(tmp_path / "none.csv")


def test_no_channel_in_common_is_told_with_both_sides(write: Any) -> None:
    path = write(f"{stamp(0)},1", head="time,attic.co2")
    with pytest.raises(ReplayError, match=r"it has attic.co2, and the configuration knows bench"):
        played(path, rooms.room())


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "w.csv"
    path.write_bytes(f"\ufefftime,bench.pm2_5\r\n{stamp(0)},5\r\n".encode())
    assert values_of(path) == [(T0 * 1000, [5.0])]


@pytest.mark.parametrize("zone", ["UTC", "Asia/Kolkata"])
def test_the_command_tells_in_local_time_what_rules_it_took(
    write: Any, monkeypatch: pytest.MonkeyPatch, zone: str
) -> None:
    import time

    monkeypatch.setenv("TZ", zone)
    monkeypatch.delenv("VENTWRIGHT_CONFIG", raising=False)
    time.tzset()
    result = CliRunner().invoke(main, ["replay", str(write(*episode()))])
    assert result.exit_code == 0, result.output
    assert "With the alarms and extractors of the shipped config/example.toml:" in result.output
    assert "No configuration was given; see --config." in result.output
    assert "alarm print: 1 time" in result.output
    start = datetime.fromtimestamp(T0).astimezone()
    assert f"The log goes from {start:%d %b %Y %H:}" in result.output
    monkeypatch.undo()
    time.tzset()


def test_the_command_tells_a_mistake_once_and_ends_with_one(write: Any) -> None:
    result = CliRunner().invoke(main, ["replay", str(write("noon,1"))])
    assert result.exit_code == 1
    assert result.output.count("\n") == 1


def test_json_of_a_csv_has_nothing_recorded(write: Any) -> None:
    os.environ.pop("VENTWRIGHT_CONFIG", None)
    result = CliRunner().invoke(main, ["replay", str(write(*episode())), "--json"])
    told = json.loads(result.output)
    assert told["recorded"] is None
    (outcome,) = told["replayed"]
    assert outcome["from"].startswith("2026-09-21T")
    assert [a["alarm"] for a in outcome["alarms"]] == ["print"]


def test_a_file_that_no_shipped_alarm_watches_is_told_so(write: Any) -> None:
    path = write(f"{stamp(0)},3", head="time,bench.hcho")
    said = CliRunner().invoke(main, ["replay", str(path)]).output
    assert "There is no alarm in it." in said
    assert "The shipped alarms watch pm2_5, and no column has it" in said


def in_zone(monkeypatch: pytest.MonkeyPatch, zone: str) -> None:
    monkeypatch.setenv("TZ", zone)
    time.tzset()


@pytest.fixture
def _own_zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("_own_zone")
@pytest.mark.parametrize(
    ("zone", "runs"),
    [("UTC", True), ("TST-9", False), ("TST-8", True)],  # the print is at 14:28 UTC
)
def test_quiet_hours_hold_in_a_replayed_file_by_local_time(
    zone: str, runs: bool, write: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    in_zone(monkeypatch, zone)
    path = write(*episode())
    shipped = shipped_rules(RecordedLog(path).columns)
    (name,) = shipped.extractors
    quiet = replace(shipped.extractors[name], quiet_hours="23:00-07:00")
    outcome = played(path, replace(shipped, extractors={name: quiet}))
    switched = [d for d in outcome.decisions if d.kind == "extractor" and d.figures["on"]]
    assert bool(switched) is runs
    assert outcome.episodes.all


@pytest.mark.usefixtures("_own_zone")
def test_the_end_of_summer_time_is_told_on_the_minute(
    write: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    in_zone(monkeypatch, "CET-1CEST,M3.5.0,M10.5.0/3")
    ends = 1_792_890_000  # 25 October 2026, 3:00 becomes 2:00
    rows = [f"{datetime.fromtimestamp(ends + n, UTC).isoformat()},5" for n in range(-120, 120)]
    path = write(*rows)
    shipped = shipped_rules(RecordedLog(path).columns)
    (name,) = shipped.extractors
    quiet = replace(shipped.extractors[name], quiet_hours="23:00-07:00")
    items = RecordedLog(path).items(replace(shipped, extractors={name: quiet}))
    events = [e for item in items if isinstance(item, list) for e in item]
    told = [(e.t, e.local) for e in events if isinstance(e, LocalTime)]
    hour = 3_600_000
    assert told == [(1000 * (ends - 120) - 1, 2 * hour), (1000 * ends - 1, hour)]
