"""Trials as marked: whole, open, discarded, resumed, past; never silently used."""

from pathlib import Path
from typing import Any

import pytest

import stored
from ventwright.storage.reader import Reader
from ventwright.storage.writer import Writer
from ventwright.trials.marking import Trial, condition, read_trials

MINUTE = 60_000


class Store:
    """A store that marks are written into, minute by minute."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.writer: Writer = stored.writer(folder)

    def mark(self, minute: int, phase: str, name: str = "pla-1", **words: Any) -> None:
        body = {"phase": phase, "labels": {}, "who": "ada", **words}
        stored.record(self.writer, "mark", name, minute * MINUTE, **body)

    def trials(self) -> dict[str, Trial]:
        reader = Reader(self.folder)
        try:
            return read_trials(reader)
        finally:
            reader.close()


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path)


def whole(store: Store, name: str = "pla-1", start: int = 0) -> None:
    for minute, phase in ((0, "flush"), (5, "background"), (25, "print"), (85, "decay")):
        store.mark(start + minute, phase, name, channel="bench.pm2_5", within=1.5)
    store.mark(start + 145, "end", name)


def test_a_whole_trial_has_three_phases_one_after_another(store: Store) -> None:
    whole(store)
    found = store.trials()["pla-1"]
    assert (found.state, found.unusable, found.channel) == ("whole", "", "bench.pm2_5")
    assert found.within == 1.5
    lengths = [(p.name, (p.ends - p.begins) // MINUTE) for p in found.phases]
    assert lengths == [("background", 20), ("print", 60), ("decay", 60)]
    assert found.phases[0].begins == stored.OFFSET + 5 * MINUTE


def test_an_interrupted_trial_is_open_and_not_used(store: Store) -> None:
    store.mark(0, "background")
    store.mark(20, "print")
    found = store.trials()["pla-1"]
    assert found.state == "open"
    assert found.phase == "print"
    assert "resume or discard" in found.unusable
    assert not found.phases


def test_a_resumed_print_keeps_its_beginning_and_says_so(store: Store) -> None:
    store.mark(0, "background")
    store.mark(20, "print")
    store.mark(40, "print")
    store.mark(60, "decay")
    store.mark(120, "end")
    found = store.trials()["pla-1"]
    assert found.resumed == 1
    assert found.phases[1].begins == stored.OFFSET + 20 * MINUTE
    assert not found.unusable


def test_a_background_that_is_begun_again_counts_from_then(store: Store) -> None:
    store.mark(0, "background")
    store.mark(30, "background")
    store.mark(50, "print")
    assert store.trials()["pla-1"].marks["background"] == stored.OFFSET + 30 * MINUTE


def test_a_discarded_trial_is_told_and_its_name_may_be_used_anew(store: Store) -> None:
    whole(store)
    store.mark(150, "discard", why="the nozzle clogged")
    found = store.trials()["pla-1"]
    assert found.state == "discarded"
    assert "the nozzle clogged" in found.unusable
    assert not found.phases
    whole(store, start=200)
    assert store.trials()["pla-1"].state == "whole"
    assert not store.trials()["pla-1"].unusable


def test_labels_are_added_and_changed_afterwards(store: Store) -> None:
    store.mark(0, "background", labels={"material": "PLA", "grams": 12})
    store.mark(9, "label", labels={"grams": 11.4})
    assert store.trials()["pla-1"].labels == {"material": "PLA", "grams": "11.4"}


def test_a_past_print_takes_its_times_from_the_mark(store: Store) -> None:
    at = {"background": 1, "print": 2, "decay": 3, "end": 4}
    store.mark(500, "past", at=at)
    found = store.trials()["pla-1"]
    assert found.past
    assert found.marks == at
    assert found.state == "whole"


def test_phases_out_of_order_are_refused(store: Store) -> None:
    store.mark(500, "past", at={"background": 5, "print": 2, "decay": 3, "end": 4})
    assert "do not follow" in store.trials()["pla-1"].unusable


def test_a_restart_of_the_machine_in_the_middle_is_told(store: Store) -> None:
    store.mark(0, "background")
    store.mark(20, "print")
    store.writer.close()
    store.writer = stored.writer(store.folder, "boot-2", stored.OFFSET + 3_600_000)
    store.mark(40, "decay")
    store.mark(90, "end")
    assert "started anew" in store.trials()["pla-1"].unusable


def test_two_trials_at_the_same_time_are_not_used_for_it_is_one_air(store: Store) -> None:
    whole(store, "pla-1")
    whole(store, "abs-1", start=100)
    whole(store, "pla-2", start=400)
    found = store.trials()
    assert "abs-1 was under way at the same time" in found["pla-1"].unusable
    assert "pla-1 was under way" in found["abs-1"].unusable
    assert not found["pla-2"].unusable


def test_conditions_are_named_by_what_describes_them() -> None:
    labels = {"material": "PLA", "door": "open", "grams": "12", "spool": "3", "printers": "2"}
    assert condition(labels) == "open, PLA"
    assert condition(labels, ["material"]) == "PLA"
    assert condition(labels, ["filter"]) == "no filter"
    assert condition({}) == "unlabelled"
