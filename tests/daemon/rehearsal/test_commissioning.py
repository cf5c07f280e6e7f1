"""The walk against the real keeper process, its socket and its store, in lockstep."""

from pathlib import Path

import click
import pytest

from ventwright.commissioning.measuring import kept
from ventwright.rehearsal.commissioning import COMMISSIONING, TRUTH
from ventwright.rehearsal.conductor import Plan, Rehearsal
from ventwright.settings.plan import read_settings
from ventwright.storage.reader import Reader
from ventwright.words import decision


def test_a_walk_through_a_rehearsed_room_finds_its_truth(tmp_path: Path) -> None:
    said: list[str] = []
    out = tmp_path / "out"
    found = Rehearsal(Plan(COMMISSIONING, 1, None, out), said.append).hold()
    (fan,) = found["trials"]
    assert fan["concluded"], fan["against"]
    for what in ("natural", "clearance"):
        error = fan[what]["standard_error"]
        assert fan[what]["value"] == pytest.approx(TRUTH[what], abs=3 * error)
    assert fan["clean_air"]["low"] < TRUTH["clean_air"] < fan["clean_air"]["high"]
    assert "fan is commissioned" in fan["says"]
    (stored,) = kept(read_settings(out / "ventwright.toml"))
    assert stored["clearance"] == pytest.approx(fan["clearance"]["value"])
    assert not (out / "store" / "commissioning.json").exists()
    plain = [click.unstyle(line) for line in said]
    assert any("Natural decay, all extractors off: 0." in line for line in plain)
    assert any("fan: clears by 5." in line for line in told(out / "store"))


def told(store: Path) -> list[str]:
    reader = Reader(store)
    try:
        return [decision(event) for event in reader.events() if event.kind == "commissioned"]
    finally:
        reader.close()
