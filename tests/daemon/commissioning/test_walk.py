"""The walk, in a simulated room whose truth is known, with the real core, requests and store."""

from pathlib import Path
from typing import Any

import pytest

from ventwright.commissioning.notebook import FRESH_MS, Notebook, Notes, Phase
from ventwright.commissioning.verdict import Extractor, lines
from ventwright.commissioning.walk import HOLD_MS, StoppedError, Walk, Walked
from walked import DUST, OFFSET, TRACER, Simulated, Truth


def walk(place: Simulated, folder: Path, **changes: Any) -> Walked:
    return Walk(place, place.plan(**changes), notebook(folder)).run()


def notebook(folder: Path) -> Notebook:
    return Notebook(folder / "notes.json")


def verdict(place: Simulated, found: Walked) -> Extractor:
    rates = (found.natural, found.extractors["hood"])
    return Extractor("hood", place.channel, place.truth.volume, 0.05, *rates, "walk")


@pytest.mark.parametrize("truth", [DUST, TRACER], ids=["dust", "CO2"])
def test_the_intervals_of_walks_hold_the_truth(tmp_path: Path, truth: Truth) -> None:
    """Two walks, two intervals each. The long form: `cd tests && python -m commissioning`."""
    held = 0
    for seed in range(2):
        folder = tmp_path / str(seed)
        folder.mkdir()
        place = Simulated(folder, seed, truth)
        found = walk(place, folder)
        clearance = found.extractors["hood"]
        assert not found.natural.why
        assert not clearance.why
        held += found.natural.low <= truth.natural <= found.natural.high
        held += clearance.low <= truth.clearance <= clearance.high
        flow = verdict(place, found).flow()
        assert flow.value == pytest.approx(truth.exhaust, abs=3 * flow.error)
        assert flow.error < 0.1 * flow.value
    assert held >= 3


def test_the_keeper_keeps_what_was_found(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 1, parts=2)
    words = verdict(place, walk(place, tmp_path)).words()
    said = place.ask("commissioned", **words)
    assert said["done"], said
    assert "hood is commissioned" in said["says"]
    assert place.core.commissioned["hood"].clearance == pytest.approx(DUST.clearance, rel=0.1)


def test_holds_are_short_and_released_at_the_end(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 1)
    longest = 0

    def look(second: int) -> None:
        nonlocal longest
        hold = place.core.extractors["hood"].hold
        longest = max(longest, hold.until - 1000 * second if hold else 0)

    place.each_second = look
    walk(place, tmp_path)
    assert 0 < longest <= HOLD_MS
    assert place.core.extractors["hood"].hold is None


def test_a_walk_that_dies_leaves_the_extractor_free_within_minutes(tmp_path: Path) -> None:
    """Killed in the middle of the natural decay, which no `finally` survives."""
    place = Simulated(tmp_path, 1)

    class Killed(BaseException):
        pass

    def die(second: int) -> None:
        if second == 1800:
            raise Killed

    place.each_second = die
    stepper = Walk(place, place.plan(), notebook(tmp_path))
    stepper._release = lambda: None  # type: ignore[method-assign]
    with pytest.raises(Killed):
        stepper.run()
    place.each_second = lambda second: None
    assert not place.core.extractors["hood"].on
    place.wait(HOLD_MS / 1000 + 60)
    assert place.core.extractors["hood"].on
    assert place.room.exhaust == DUST.exhaust


def test_an_interrupted_walk_goes_on_where_it_was(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 1)

    def interrupt(second: int) -> None:
        if place.core.extractors["hood"].hold and place.core.extractors["hood"].hold.on:
            raise KeyboardInterrupt

    place.each_second = interrupt
    with pytest.raises(KeyboardInterrupt):
        walk(place, tmp_path)
    assert place.core.extractors["hood"].hold is None
    assert place.said[-1] == "The extractors decide by themselves again."
    place.each_second = lambda second: None
    place.wait(600)
    before = place.seconds
    found = walk(place, tmp_path)
    assert any("Done already: background, natural." in text for text in place.said)
    assert place.seconds - before < 3600
    assert found.extractors["hood"].low <= DUST.clearance <= found.extractors["hood"].high
    assert not (tmp_path / "notes.json").exists()


def test_the_ceiling_ends_it_and_the_fan_runs(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 1, DUST._replace(emission=300_000))
    with pytest.raises(StoppedError, match=r"reached the ceiling|is at 2\d\d\.\d µg/m³ already"):
        walk(place, tmp_path)
    place.wait(120)
    assert place.core.extractors["hood"].on
    assert max(place.seen.values()) > 200


def test_a_part_that_falls_silent_ends_it(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 1)
    place.each_second = lambda second: place.seen.clear() if second == 900 else None
    with pytest.raises(StoppedError, match=r"trustworthy data|no good readings"):
        walk(place, tmp_path)
    assert place.core.extractors["hood"].hold is None


def test_air_that_is_not_mixed_is_told(tmp_path: Path) -> None:
    """The second part stands in a corner that clears at 60 % of the rate."""
    place = Simulated(tmp_path, 1, parts=2)

    began = 0.0

    def corner(second: int) -> None:
        nonlocal began
        clean = DUST.leak * DUST.outdoor / DUST.natural
        rise = max(0.0, place.room.levels["x"] - clean)
        began = (began or rise) if place.room.exhaust else 0.0
        shown = clean + (began**0.4 * rise**0.6 if began else rise)
        place.unlike["shelf"] = shown / place.room.levels["x"] - 1

    place.each_second = corner
    found = walk(place, tmp_path)
    assert any("the air is not mixed: shelf.pm2_5" in why for why in found.extractors["hood"].why)
    assert "nothing can be concluded" in lines(verdict(place, found))[0]


def test_a_fan_that_does_nothing_is_told(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 3, DUST._replace(exhaust=0))
    said = lines(verdict(place, walk(place, tmp_path, longest=5_400_000)))
    assert "nothing can be concluded" in said[0]


def test_a_source_that_goes_on_is_no_natural_decay(tmp_path: Path) -> None:
    place = Simulated(tmp_path, 1)

    def smoulder(second: int) -> None:
        if place.core.extractors["hood"].hold and place.seconds > 1100:
            place.room.sources["x"] = max(place.room.sources.get("x", 0.0), 2000.0)

    place.each_second = smoulder
    found = walk(place, tmp_path)
    assert any("falls more slowly later" in why for why in found.natural.why)


def test_notes_that_are_old_or_broken_are_not_gone_on_from(tmp_path: Path) -> None:
    book = notebook(tmp_path)
    assert book.read(OFFSET) is None
    book.write(Notes("bench.pm2_5", OFFSET, [Phase("background", OFFSET, OFFSET + 1000)]))
    found = book.read(OFFSET + FRESH_MS)
    assert found is not None
    assert found.phases[0].what == "background"
    assert book.read(OFFSET + FRESH_MS + 1001) is None
    assert book.read(OFFSET - 1) is None
    book.path.write_text('{"phases": [{"what": 3}]}')
    assert book.read(OFFSET) is None
    book.path.write_text('{"phases": [], "channel": "bench.pm2_5", "begun": "yesterday"}')
    assert book.read(OFFSET) is None
    book.drop()
    book.drop()


def test_a_background_that_tells_nothing_is_measured_anew(tmp_path: Path) -> None:
    """Killed with a background in its notes that has no readings: it must not stop every walk."""
    place = Simulated(tmp_path, 1)
    now = OFFSET + 1000 * place.seconds
    notebook(tmp_path).write(Notes(place.channel, now, [Phase("background", now, now)]))
    with pytest.raises(StoppedError, match=r"Start the walk again; it measures the background"):
        walk(place, tmp_path)
    assert not walk(place, tmp_path).natural.why


def test_without_a_place_for_notes_the_walk_goes_on(tmp_path: Path) -> None:
    book = Notebook(tmp_path / "none" / "notes.json")
    book.write(Notes("bench.pm2_5", OFFSET))
    assert not book.kept
