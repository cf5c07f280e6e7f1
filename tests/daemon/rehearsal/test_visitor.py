"""Somebody who uses the daemon while it is rehearsed: the real guide, the real keeper, fast time.

One guided print through the real keeper process; its emission is recovered from the store.
"""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from ventwright.control.client import NotRunningError
from ventwright.rehearsal import prints
from ventwright.rehearsal.conductor import Plan as Rehearsed
from ventwright.rehearsal.conductor import Rehearsal, RehearsalError
from ventwright.rehearsal.playbill import VISITS
from ventwright.rehearsal.prints import TEST_PRINTS
from ventwright.rehearsal.visitor import Visitor
from ventwright.settings.plan import read_settings
from ventwright.storage.reader import Reader
from ventwright.trials.analyse import Wishes, analysed
from ventwright.trials.marking import read_trials

NAME = "one-visit"


def rehearse(folder: Path, monkeypatch: pytest.MonkeyPatch, visit: object, lasts: int) -> Path:
    monkeypatch.setitem(VISITS, NAME, visit)
    scenario = replace(TEST_PRINTS, name=NAME, duration=lasts)
    Rehearsal(Rehearsed(scenario, 1, None, folder / "out"), lambda _: None).hold()
    return folder / "out"


def one_trial(visitor: Visitor) -> None:
    visitor.wait(120)
    prints._trial(visitor, "abs-1", {"material": "abs", "grams": "14"}, 1900.0)


def low_ceiling(visitor: Visitor) -> None:
    visitor.wait(120)
    prints._trial(visitor, "abs-1", {"material": "abs"}, 4000.0)


def test_a_guided_print_is_whole_and_its_emission_recovered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = rehearse(tmp_path, monkeypatch, one_trial, 10_000)
    summary = json.loads((out / "summary.json").read_text())
    assert summary["whole"]
    assert summary["simulated_s"] < 8000
    settings = read_settings(out / "ventwright.toml")
    reader = Reader(settings.store.folder)
    (made,) = analysed(reader, settings)
    (coarser,) = analysed(reader, settings, Wishes(channel="bench.pm10"))
    reader.close()
    assert coarser.total.value == pytest.approx(made.total.value, rel=0.1)  # common practice
    assert made.labels == {"material": "abs", "grams": "14"}
    assert made.total.low < summary["trials"][0]["emitted"] < made.total.high
    assert made.per_gram.value == pytest.approx(made.total.value / 14)
    assert not any("ran during the print" in text for text in made.cautions)


def test_the_ceiling_overrides_the_guide_through_the_real_keeper(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(prints, "CEILING", 20.0)
    with pytest.raises(RehearsalError, match="ceiling of 20 was reached"):
        rehearse(tmp_path, monkeypatch, low_ceiling, 10_000)
    reader = Reader(tmp_path / "out" / "store")
    trial = read_trials(reader)["abs-1"]
    reader.close()
    assert trial.state == "discarded"
    assert "ceiling" in trial.discarded


def test_a_visit_that_outlasts_the_rehearsal_leaves_an_open_trial(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = rehearse(tmp_path, monkeypatch, one_trial, 600)
    settings = read_settings(out / "ventwright.toml")
    reader = Reader(settings.store.folder)
    (trial,) = read_trials(reader).values()
    assert trial.state == "open"
    assert not analysed(reader, settings)
    reader.close()


def test_the_visit_waits_in_the_worlds_time_only(tmp_path: Path) -> None:
    heard: list[int] = []

    def visit(visitor: Visitor) -> None:
        for _ in range(3):
            heard.append(visitor.now())
            visitor.wait(10)

    visitor = Visitor(visit, tmp_path / "nowhere", lambda _: None, lambda _: None)
    for second in range(1, 60):
        visitor.at(second)
    assert heard == [1, 11, 21]
    assert visitor.done


def test_a_visit_that_fails_is_told_and_does_not_hang(tmp_path: Path) -> None:
    def visit(visitor: Visitor) -> None:
        visitor.ask("status")

    visitor = Visitor(visit, tmp_path / "nowhere", lambda _: None, lambda _: None)
    visitor.at(1)
    assert visitor.done
    assert isinstance(visitor.failed, NotRunningError)


def test_a_visitor_who_leaves_early_ends(tmp_path: Path) -> None:
    ended: list[bool] = []

    def visit(visitor: Visitor) -> None:
        try:
            visitor.wait(10)
        finally:
            ended.append(True)

    visitor = Visitor(visit, tmp_path / "nowhere", lambda _: None, lambda _: None)
    visitor.at(1)
    visitor.leave()
    assert ended == [True]
    assert visitor.failed is None
