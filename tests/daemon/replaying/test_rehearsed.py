"""The real keeper's log of a rehearsal, replayed with its own configuration and with others."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from daemon.rehearsal.stage import FUMES
from daemon.replaying.lives import replayed, taken
from ventwright.cli import main
from ventwright.rehearsal.conductor import Plan, Rehearsal
from ventwright.rehearsal.emission import Print
from ventwright.rehearsal.scenario import DEFAULT, Fault
from ventwright.replaying.kinds import kinds_of
from ventwright.settings.plan import read_settings

PRINT = Print(420, 300, burst={"fine": 42_000}, plateau={"fine": 3200})
HOUR = {
    "channel": "bench.pm2_5",
    "compare": "mean",
    "over": "1 h",
    "setpoint": 35.0,
    "deadband": 5.0,
}
ROUGH = replace(
    DEFAULT,
    name="rough",
    title="a short print, and a part that comes off",
    duration=2700,
    alarms={**FUMES, "long-exposure": HOUR},
    spells=PRINT.spells(),
    extraction={"when_blind": "on", "run_on": "2 min"},
    faults=(Fault(2250, "hang up", "bench"), Fault(2450, "plug in", "bench")),
)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("h10") / "out"
    Rehearsal(Plan(ROUGH, 1, None, folder), lambda _: None).hold()
    return folder


def ask(*words: str | Path) -> Any:
    return CliRunner().invoke(main, ["replay", *map(str, words)])


def test_the_keepers_decisions_are_made_again_to_the_last_figure(out: Path) -> None:
    settings = read_settings(out / "ventwright.toml", {})
    done = taken(out / "store")
    assert replayed(out / "store", settings, kinds_of(settings)) == done
    said = [body.get("to") or body["change"] for *_, body in done]
    assert said[:5] == ["raised", "extracting", "cleared", "run-on", "standby"]
    assert "blind" in said[5:]


def test_the_command_says_so_and_tells_alarms_hours_and_limits(out: Path) -> None:
    result = ask(out / "store", "--config", out / "ventwright.toml")
    assert result.exit_code == 0
    assert "decisions that were taken then, to the ms." in result.output
    assert "alarm print-fumes: 1 time, " in result.output
    assert "alarm long-exposure: never." in result.output
    assert "; blind for " in result.output
    assert "over 1 h" not in result.output
    assert all(len(line) <= 130 for line in result.output.splitlines())


def test_the_configured_store_is_replayed_if_no_log_is_named(out: Path) -> None:
    named = ask(out / "store", "--config", out / "ventwright.toml")
    assert ask("--config", out / "ventwright.toml").output == named.output
    file = out / "store" / "readings.sqlite"
    assert ask(file, "--config", out / "ventwright.toml").output == named.output


def test_json_gives_every_decision_with_its_time_and_reason(out: Path) -> None:
    told = json.loads(ask(out / "store", "--config", out / "ventwright.toml", "--json").output)
    (outcome,) = told["replayed"]
    assert told["differences"] is None
    assert told["recorded"] == {
        "decisions": len(taken(out / "store")), "only recorded": [], "only replayed": [],
    }  # fmt: skip
    first = outcome["decisions"][0]
    assert (first["kind"], first["subject"], first["change"]) == ("alarm", "print-fumes", "raised")
    assert first["time"].endswith("Z")
    assert "the rise over 1 min is " in first["reason"]
    assert "the setpoint is 20" in first["reason"]
    assert first["value"] >= first["setpoint"]
    fan = outcome["extractors"]["fan"]
    assert fan["on (h)"] == pytest.approx(sum(fan["states (h)"][s] for s in _ON), abs=0.05)
    assert sum(fan["states (h)"].values()) == pytest.approx(2700 / 3600, abs=0.01)
    bench = outcome["channels"]["bench.pm2_5"]
    assert bench["coverage"] == pytest.approx(1 - 200 / 2700, abs=0.03)
    assert sum(bench["readings"].values()) > 700


_ON = ("extracting", "run-on", "blind")


def test_two_configurations_differ_where_they_should(out: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    text = (out / "ventwright.toml").read_text()
    other.write_text(text.replace("setpoint = 20.0", "setpoint = 400.0"))
    assert other.read_text() != text
    words = (out / "store", "--config", out / "ventwright.toml", "--against", other)
    result = ask(*words)
    assert "alarm print-fumes: 1 / 0 times" in result.output
    assert "only with the first, 1 time" in result.output
    differences = json.loads(ask(*words, "--json").output)["differences"]
    assert [one["alarm"] for one in differences["alarms"]] == ["print-fumes"]
    hours = differences["extractors on (h)"]["fan"]
    assert hours[0] > hours[1] > 0
    changed = {(d["subject"], d["change"]) for d in differences["only first"]}
    assert changed == {
        ("print-fumes", "raised"), ("print-fumes", "cleared"),
        ("fan", "standby to extracting"), ("fan", "extracting to run-on"),
        ("fan", "run-on to standby"),
    }  # fmt: skip
    assert differences["only other"] == []


def test_the_same_configuration_twice_differs_in_nothing(out: Path) -> None:
    config = out / "ventwright.toml"
    result = ask(out / "store", "--config", config, "--against", config)
    assert "Both decide the same, to the ms." in result.output


def test_a_folder_without_a_store_is_told_in_one_sentence(out: Path, tmp_path: Path) -> None:
    result = ask(tmp_path, "--config", out / "ventwright.toml")
    assert result.exit_code == 1
    assert result.output.count("\n") == 1
    assert "holds no store" in result.output
    (tmp_path / "readings.sqlite").write_text("nothing of the kind, whatever its name says")
    assert "holds no store" in ask(tmp_path, "--config", out / "ventwright.toml").output
