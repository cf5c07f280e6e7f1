"""The units as systemd itself sees them: `systemd-analyze verify` and its exposure score."""

import subprocess
import sys
from pathlib import Path

import pytest

UNITS = sorted((Path(__file__).parents[2] / "systemd").glob("*.service"))
EXPOSURE = {"ventwright-keeper.service": 10, "ventwright-courier.service": 20}  # tenths


def analyze(*words: str) -> "subprocess.CompletedProcess[str]":
    command = ["systemd-analyze", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.fixture(params=UNITS, ids=lambda unit: unit.name)
def unit(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A unit whose interpreter is there."""
    text = request.param.read_text().replace("/opt/ventwright/now/bin/python", sys.executable)
    copy = tmp_path / request.param.name
    copy.write_text(text)
    return copy


def test_there_are_two() -> None:
    assert [unit.name for unit in UNITS] == sorted(EXPOSURE)


def test_a_unit_is_well_formed(unit: Path) -> None:
    told = analyze("verify", str(unit))
    assert told.returncode == 0, told.stderr
    assert unit.name not in told.stderr


def test_a_unit_exposes_little(unit: Path) -> None:
    threshold = f"--threshold={EXPOSURE[unit.name]}"
    told = analyze("security", "--offline=true", threshold, str(unit))
    assert told.returncode == 0, told.stdout[-400:]


def test_a_call_that_a_library_makes_unasked_fails_and_does_not_kill(unit: Path) -> None:
    assert "SystemCallErrorNumber=EPERM\n" in unit.read_text()


def test_the_keeper_may_ask_whether_the_clock_is_right() -> None:
    # clock_adjtime, which glibc makes of adjtimex(3): killed by the filter, seen on a board
    text = (UNITS[0].parent / "ventwright-keeper.service").read_text()
    assert "SystemCallFilter=adjtimex clock_adjtime clock_adjtime64\n" in text
    assert "ProtectClock" not in text
