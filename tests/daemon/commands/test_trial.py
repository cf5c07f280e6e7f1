"""`ventwright trial` and `compare` over prints of known emission, and through a real keeper."""

import json
import signal
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from house import LIMIT_S, House, until
from invoking import json_of, said_by
from trialling.prints import Job, Part, Room, levels, seen
from ventwright.commands.compare import compare
from ventwright.commands.trial import trial
from ventwright.events import Readings, Record
from ventwright.settings.plan import read_settings
from ventwright.storage.reducing import reduce_next
from ventwright.storage.schema import store_path
from ventwright.storage.writer import Writer

OFFSET = 1_790_000_000_000
MINUTE, HOUR = 60_000, 3_600_000
CONFIGURATION = """
[room]
name = "workshop"
volume = 45
[store]
folder = "{store}"
[parts.bench]
model = "pms5003"
port = "/nowhere"
quantities = ["pm2_5"]
"""
EMITTED = {"pla": (1500, 1800, 1650), "abs": (6000, 5200, 6800)}


@pytest.fixture(autouse=True)
def _read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Check each configuration once: a child process does it each time else."""
    for command in ("trial", "trial_guide", "trial_marks", "compare"):
        monkeypatch.setattr(f"ventwright.commands.{command}.settings_or_exit", _settings)


_settings = cache(read_settings)


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write six prints of two materials, a quarter of a day apart, and one that was discarded."""
    folder = tmp_path_factory.mktemp("prints")
    file = folder / "ventwright.toml"
    file.write_text(CONFIGURATION.format(store=folder / "store"))
    writer = Writer(folder / "store", "boot-1", OFFSET)
    writer.settle(OFFSET)
    writer.part("bench", "pms5003", ("pm2_5",))
    order = [(name, n) for n in range(3) for name in EMITTED]
    for place, (name, n) in enumerate(order):
        _print(writer, f"{name}-{n + 1}", {"material": name}, EMITTED[name][n], place)
    _mark(writer, "pla-9", "background", 40 * HOUR)
    _mark(writer, "pla-9", "discard", 41 * HOUR, why="the nozzle clogged")
    _mark(writer, "pla-8", "background", 42 * HOUR)
    writer.close()
    return file


def _print(writer: Writer, name: str, labels: dict[str, str], emitted: float, place: int) -> None:
    job = Job(emitted, background=20, prints=40, decay=60)
    start = place * 6 * HOUR + 60_000
    readings = seen(levels(Room(), job), Part(), np.random.default_rng(place))
    for n, value in enumerate(readings):
        writer.add(Readings(start + 2000 * n, "bench", (round(10 * float(value)),), b"\0"))
        if n % 600 == 599:
            writer.commit()
    writer.commit()
    told = {**labels, "grams": "20"}
    for minute, phase in ((0, "background"), (20, "print"), (60, "decay"), (120, "end")):
        _mark(writer, name, phase, start + minute * MINUTE, labels=told if not minute else {})


def _mark(writer: Writer, name: str, phase: str, t: int, **words: Any) -> None:
    body = {"phase": phase, "labels": {}, "who": "ada", **words}
    writer.add(Record(t, "mark", name, body))
    writer.commit()


def test_every_print_is_shown_with_its_emission_inside_the_interval(config: Path) -> None:
    for material, amounts in EMITTED.items():
        for n, emitted in enumerate(amounts, 1):
            words = ("show", f"{material}-{n}", "--config", str(config), "--json")
            found = json_of(trial, *words)
            assert found["total"]["low"] < emitted < found["total"]["high"]
            assert found["loss_rate"]["value"] == pytest.approx(0.9, rel=0.25)
            assert found["per_gram"]["unit"] == "µg/g"


def test_words_for_people_name_every_figure_and_what_is_not_seen(config: Path) -> None:
    said = said_by(trial, "show", "abs-1", "--config", str(config), "--in-room", "30", "0.5")
    for word in ("loss rate", "emitted in all", "per gram", "ultrafine", "in a room of 30 m³"):
        assert word in said.replace("\n", " "), word


def test_it_is_worked_out_anew_with_other_wishes(config: Path) -> None:
    words = ("show", "abs-1", "--config", str(config), "--json")
    plain = json_of(trial, *words)["total"]["value"]
    large = json_of(trial, *words, "--volume", "90")["total"]["value"]
    given = json_of(trial, *words, "--loss-rate", "0.9")
    assert large == pytest.approx(2 * plain)
    assert given["loss_rate"]["why"] == "given by hand"
    assert given["total"]["value"] == pytest.approx(6000, rel=0.06)


def test_a_time_may_be_shown_without_any_mark(config: Path) -> None:
    begins = OFFSET + 60_000 + 6 * HOUR + 20 * MINUTE
    told = [json.dumps(t).strip('"') for t in (_iso(begins), _iso(begins + 40 * MINUTE))]
    words = ("--from", told[0], "--to", told[1], "--config", str(config), "--json")
    found = json_of(trial, "show", *words)
    assert found["total"]["value"] == pytest.approx(6000, rel=0.06)


def _iso(t: int) -> str:
    from datetime import datetime

    return datetime.fromtimestamp(t / 1000).astimezone().isoformat()


def test_the_list_has_the_discarded_and_the_open_ones_too(config: Path) -> None:
    said = said_by(trial, "list", "--config", str(config))
    assert "discarded: the nozzle clogged" in said
    assert "open, in its background" in said
    states = {
        t["name"]: t["state"] for t in json_of(trial, "list", "--config", str(config), "--json")
    }
    assert states["pla-1"] == "whole"


def test_conditions_are_compared_and_unusable_trials_left_out(config: Path) -> None:
    found = json_of(compare, "--config", str(config), "--json")
    assert {c["name"]: len(c["repeats"]) for c in found["conditions"]} == {"pla": 3, "abs": 3}
    (contrast,) = found["contrasts"]
    assert contrast["differs"]
    assert "abs is 3." in contrast["verdict"]
    said = said_by(compare, "--config", str(config), "--figure", "rise").replace("\n", " ")
    assert "PM2.5 rise, µg/m³, by material" in said
    assert "pla-9 is left out: it was discarded: the nozzle clogged." in said
    assert "pla-8 is left out: it is not whole" in said


def test_named_trials_only(config: Path) -> None:
    found = json_of(compare, "pla-1", "pla-2", "abs-1", "--config", str(config), "--json")
    assert "nothing can be concluded from two prints of one and one print" in found["verdicts"][0]


PAST = ("--from", "2026-05-01T10:00", "--to", "2026-05-01T11:00")
MISTAKES = [
    (trial, ("show", "nothing"), 'there is no trial "nothing"; there is: pla-1'),
    (trial, ("show", "pla-9"), "it was discarded: the nozzle clogged"),
    (trial, ("show", "pla-8"), "resume or discard it"),
    (trial, ("show",), "which trial?"),
    (trial, ("show", "pla-1", "--channel", "shelf.co2"), 'no channel "shelf.co2"'),
    (trial, ("show", "--from", "2026-05-01T10:00"), "--from needs a later --to"),
    (trial, ("show", "pla-1", "--in-room", "0", "1"), "above 0"),
    (trial, ("discard", "nothing"), 'there is no trial "nothing"'),
    (trial, ("label", "pla-1"), "which label?"),
    (trial, ("label", "pla-1", "--grams", "9"), "no keeper answers"),
    (trial, ("guide", "pla-1", "--ceiling", "100"), "is a whole trial already"),
    (trial, ("guide", "pla-8", "--ceiling", "100"), "was interrupted in its background phase"),
    (trial, ("guide", "new", "--ceiling", "100", "--resume"), "no open trial"),
    (trial, ("guide", "new", "--ceiling", "100"), "no keeper answers"),
    (trial, ("guide", "new", "--ceiling", "9", "--channel", "a.b"), 'no channel "a.b"'),
    (trial, ("past", "n", *PAST, "--channel", "a.b"), 'no channel "a.b"'),
    (trial, ("past", "pla-1", *PAST), 'there is a trial "pla-1" already'),
    (trial, ("past", "n", *PAST[2:], "--from", "2026-06-01T10:00"), "must end after it began"),
    (compare, ("nothing",), 'no whole trial "nothing"'),
    (compare, ("--by", "colour"), 'no print has a label "colour"; there is: '),
    (compare, ("--reference", "petg"), 'no condition "petg"'),
]


@pytest.mark.parametrize(("command", "words", "says"), MISTAKES)
def test_mistakes_are_told_in_a_sentence(
    config: Path, command: Any, words: tuple[str, ...], says: str
) -> None:
    said = said_by(command, *words, "--config", str(config), status=1)
    assert says in said.replace("\n", " ")
    assert "Traceback" not in said


def test_a_label_without_a_value_is_refused(config: Path) -> None:
    said = said_by(trial, "label", "pla-1", "-l", "red", "--config", str(config), status=2)
    assert '"red" is no label such as material=PLA' in said


def test_it_can_be_worked_out_when_the_readings_are_gone(config: Path, tmp_path: Path) -> None:
    """What the store keeps of old times, minute means, gives the same figures."""
    store = tmp_path / "store"
    store.mkdir()
    text = config.read_text().replace(str(config.parent / "store"), str(store))
    (tmp_path / "ventwright.toml").write_text(text)
    before = json_of(trial, "show", "abs-1", "--config", str(config), "--json")
    with closing(sqlite3.connect(store_path(config.parent / "store"))) as old:
        new = sqlite3.connect(store_path(store), isolation_level=None)
        old.backup(new)
    while reduce_next(new, 1, 80 * HOUR):
        pass
    new.execute("DELETE FROM blocks")
    new.close()
    words = ("show", "abs-1", "--config", str(tmp_path / "ventwright.toml"), "--json")
    after = json_of(trial, *words)
    assert after["total"]["value"] == pytest.approx(before["total"]["value"], rel=0.02)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_guide_that_is_ended_releases_the_extractor(house: House, end: int) -> None:
    house.keeper()
    words = ("trial", "guide", "pla-1", "--ceiling", "100", "--config", str(house.config))
    guide = house.run("-c", "from ventwright.cli import main; main()", *words)
    until(lambda: house.told("extractors", "hood") == "held on", house.output())
    guide.send_signal(end)
    assert guide.wait(LIMIT_S) == 1
    assert house.told("extractors", "hood") != "held on"
    assert "pla-1 was interrupted and the extractor released" in house.output()


def test_marks_go_through_a_real_keeper(house: House) -> None:
    house.keeper()
    past = ("--from", "2026-05-01T10:00", "--to", "2026-05-01T11:00")
    done = house.command("trial", "past", "pla-1", *past, "-l", "material=PLA", "--grams", "12")
    assert done.stdout == "pla-1: past is marked\n", done.stderr
    again = house.command("trial", "past", "pla-1", *past)
    assert 'there is a trial "pla-1" already' in again.stderr
    assert house.command("trial", "label", "pla-1", "--grams", "11.5").returncode == 0
    listed = json.loads(house.command("trial", "list", "--json").stdout)
    assert listed[0]["labels"] == {"material": "PLA", "grams": "11.5"}
    assert listed[0]["state"] == "whole"
    assert house.command("trial", "discard", "pla-1", "--why", "wrong spool").returncode == 0
    assert "wrong spool" in house.command("trial", "list").stdout
    late = house.command(
        "trial", "past", "b", "--from", "2099-05-01T10:00", "--to", "2099-05-01T11:00"
    )
    assert "its decay would end" in late.stderr
