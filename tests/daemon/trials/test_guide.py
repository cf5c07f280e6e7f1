"""The guide against a played keeper: every way a trial can go, in no time."""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from ventwright.trials.guide import LEASE_MS, Guide, GuideError, Plan

MINUTE = 60_000


class Bench:
    """A keeper, the air and the person at the printer; time passes only when somebody waits."""

    def __init__(self, rise: float = 0.5, extractors: tuple[str, ...] = ("hood",)) -> None:
        self.t = 0.0
        self.rise: float | None = rise
        self.quality = "good"
        self.states = dict.fromkeys(extractors, "standby")
        self.asked: list[tuple[float, str, dict[str, Any]]] = []
        self.said: list[str] = []
        self.prints_for = 30 * 60.0
        self.happens: list[tuple[float, Callable[[], None]]] = []
        self._answer_at: float | None = None
        self.refuses = ""

    def ask(self, verb: str, **words: Any) -> dict[str, Any]:
        self.asked.append((self.t, verb, words))
        if verb == "status":
            return self._status()
        if self.refuses == verb:
            return {"done": False, "says": "not today"}
        if verb == "hold":
            self.states[words["name"]] = "held on" if words["on"] else "held off"
        if verb == "release":
            self.states[words["name"]] = "standby"
        return {"done": True, "says": "done"}

    def _status(self) -> dict[str, Any]:
        channel = {"rise": self.rise, "quality": self.quality}
        return {
            "parts": {"bench": {"channels": {"pm2_5": channel}}},
            "extractors": {name: {"state": state} for name, state in self.states.items()},
        }

    def say(self, text: str) -> None:
        self.said.append(text)
        if "press Enter as" in text:
            self._answer_at = self.t
        elif "when it has ended" in text:
            self._answer_at = self.t + self.prints_for

    def now(self) -> float:
        return self.t

    def wait(self, seconds: float) -> bool:
        if self._answer_at is not None and self.t >= self._answer_at:
            self._answer_at = None
            return True
        self.t += seconds
        for at, what in list(self.happens):
            if self.t >= at:
                self.happens.remove((at, what))
                what()
        return False

    def guide(self, **changes: Any) -> None:
        plan = Plan("pla-1", "bench.pm2_5", 100.0, {"material": "PLA"}, **changes)
        Guide(plan, self.ask, self).run()

    @property
    def marks(self) -> list[tuple[float, str]]:
        return [(t, words["phase"]) for t, verb, words in self.asked if verb == "mark"]

    def of(self, verb: str) -> list[dict[str, Any]]:
        return [words for _, asked, words in self.asked if asked == verb]


def test_a_print_goes_through_all_phases_and_the_extractor_is_released() -> None:
    bench = Bench()
    bench.guide()
    assert [phase for _, phase in bench.marks] == ["flush", "background", "print", "decay", "end"]
    times = {phase: t for t, phase in bench.marks}
    assert times["print"] - times["background"] == pytest.approx(20 * 60, abs=1)
    assert times["decay"] - times["print"] == pytest.approx(30 * 60, abs=6)
    assert times["end"] - times["decay"] == pytest.approx(60 * 60, abs=1)
    assert bench.states == {"hood": "standby"}
    assert bench.of("mark")[0]["labels"] == {"material": "PLA"}


def test_extraction_is_held_off_only_under_the_ceiling() -> None:
    bench = Bench()
    bench.guide()
    off = [words for words in bench.of("hold") if not words["on"]]
    assert all(words["ceiling"] == {"channel": "bench.pm2_5", "value": 100.0} for words in off)


def test_a_guide_that_is_gone_leaves_nothing_held_off_for_long() -> None:
    bench = Bench()
    bench.guide()
    held = [(t, words["for"]) for t, verb, words in bench.asked if verb == "hold"]
    assert max(ms for _, ms in held) == LEASE_MS
    gaps = [after - before for (before, _), (after, _) in pairwise(held)]
    assert max(gaps) * 1000 < LEASE_MS / 2
    assert bench.t - held[-1][0] < LEASE_MS / 2000


def test_a_ceiling_that_let_go_is_not_held_against() -> None:
    bench = Bench()
    bench.happens.append((20 * 60 + 400, lambda: bench.states.update(hood="running")))
    with pytest.raises(GuideError, match="was let go"):
        bench.guide()
    let_go = 20 * 60 + 400
    assert not [t for t, verb, _ in bench.asked if verb == "hold" and t >= let_go]


def test_dirty_air_is_flushed_first_and_then_held_off() -> None:
    bench = Bench(rise=30.0)
    bench.happens.append((600, lambda: setattr(bench, "rise", 1.0)))
    bench.guide()
    holds = [(words["on"]) for words in bench.of("hold")]
    assert holds[:2] == [True, False]
    assert not any(holds[1:])
    background = next(t for t, phase in bench.marks if phase == "background")
    assert 650 <= background <= 670


def test_where_extraction_gets_it_no_nearer_it_waits_with_the_extractor_off() -> None:
    bench = Bench(rise=3.0)
    bench.happens.append((1500, lambda: setattr(bench, "rise", 1.0)))
    bench.guide()
    assert any("no nearer" in text for text in bench.said)
    holds = [words["on"] for words in bench.of("hold")]
    assert holds[:2] == [True, False]
    assert not any(holds[1:])


def test_air_that_stays_dirty_is_told_with_what_is_left_and_nothing_is_whole() -> None:
    bench = Bench(rise=30.0)
    with pytest.raises(GuideError, match=r"did not come within 2 .* the rest is 30.0"):
        bench.guide()
    assert [phase for _, phase in bench.marks] == ["flush"]
    assert bench.states == {"hood": "standby"}


def test_an_unknown_baseline_is_not_taken_for_near() -> None:
    bench = Bench()
    bench.rise = None
    with pytest.raises(GuideError, match=r"baseline of bench\.pm2_5 was not known within 5 min"):
        bench.guide(flush=5 * MINUTE)
    assert any("not known yet" in text for text in bench.said)


def test_at_the_ceiling_the_trial_is_discarded_and_says_why() -> None:
    bench = Bench()
    bench.happens.append((2000, lambda: bench.states.update(hood="extracting")))
    with pytest.raises(GuideError, match="ceiling of 100 was reached"):
        bench.guide()
    assert bench.marks[-1][1] == "discard"
    assert "ceiling" in bench.of("mark")[-1]["why"]
    assert "end" not in [phase for _, phase in bench.marks]


def test_a_part_that_falls_silent_ends_the_trial_after_two_minutes() -> None:
    bench = Bench()
    bench.happens.append((2000, lambda: setattr(bench, "quality", "stale")))
    with pytest.raises(GuideError, match="gave no good reading: stale"):
        bench.guide()
    assert 2120 <= bench.marks[-1][0] <= 2140


def test_a_short_silence_ends_nothing() -> None:
    bench = Bench()
    bench.happens.append((2000, lambda: setattr(bench, "quality", "stale")))
    bench.happens.append((2060, lambda: setattr(bench, "quality", "good")))
    bench.guide()
    assert bench.marks[-1][1] == "end"


def test_an_interrupt_releases_the_extractor_and_leaves_the_trial_open() -> None:
    bench = Bench()

    def interrupt() -> None:
        raise KeyboardInterrupt

    bench.happens.append((2000, interrupt))
    with pytest.raises(KeyboardInterrupt):
        bench.guide()
    assert bench.states == {"hood": "standby"}
    assert [phase for _, phase in bench.marks] == ["flush", "background", "print"]


def test_a_resumed_trial_goes_on_in_its_phase_under_the_ceiling() -> None:
    bench = Bench()
    bench.guide(start="decay")
    assert [phase for _, phase in bench.marks] == ["decay", "end"]
    assert bench.of("hold")[0]["ceiling"]["value"] == 100.0
    resumed = Bench()
    resumed.guide(start="print")
    assert [phase for _, phase in resumed.marks] == ["print", "decay", "end"]
    assert not any("Start the print" in text for text in resumed.said)


def test_a_room_without_an_extractor_is_aired_by_hand() -> None:
    bench = Bench(rise=9.0, extractors=())
    bench.happens.append((300, lambda: setattr(bench, "rise", 0.0)))
    bench.guide()
    assert bench.said[0].startswith("Air the room")
    assert not bench.of("hold")
    assert bench.marks[-1][1] == "end"


@pytest.mark.parametrize("verb", ["mark", "hold"])
def test_what_the_keeper_refuses_is_told(verb: str) -> None:
    bench = Bench(rise=9.0)
    bench.refuses = verb
    with pytest.raises(GuideError, match="the keeper refused: not today"):
        bench.guide()


def test_a_channel_that_is_not_there_is_told_with_those_that_are() -> None:
    bench = Bench()
    with pytest.raises(GuideError, match=r'no channel "shelf.pm2_5"; it has: bench.pm2_5'):
        Guide(Plan("a", "shelf.pm2_5", 100.0), bench.ask, bench).run()
