"""Two parts in the same air: who counts while they disagree, and what is told of it."""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from rooms import changes, measured, records
from ventwright.events import Action, Readings, Started, Trouble
from ventwright.keeper.core import Core
from ventwright.quality.marks import Quality
from ventwright.settings.model import SameAir, Settings

MINUTE = 60_000
PAIR = SameAir(("bench.pm2_5", "door.pm2_5"), 5.0, 0.3)


def house(**changes: Any) -> Settings:
    given: dict[str, Any] = {
        "parts": ("bench", "door"),
        "same_air": {"dust": PAIR},
        "alarms": {"low": rooms.alarm(), "high": rooms.alarm("door.pm2_5")},
    }
    return rooms.room(**{**given, **changes})


class Live:
    """A core with two parts that give a sample a second each."""

    def __init__(self, core: Core | None = None) -> None:
        self.core = core or rooms.core(house())
        self.done: list[Action] = []
        self.fed: list[Any] = []
        for part in ("bench", "door"):
            self.take(Started(self.core.now, part))

    def take(self, event: Any) -> None:
        self.done += self.core.handle(event)
        self.fed.append(event)

    def show(self, bench: float | None, door: float | None, minutes: float) -> None:
        start = self.core.now
        for n in range(1, int(minutes * 60) + 1):
            for part, value in (("bench", bench), ("door", door)):
                if value is not None:
                    self.take(measured(start + n * 1000, value + n % 2 / 10, part))

    def marks(self, part: str) -> set[int]:
        newest = [a for a in self.done if isinstance(a, Readings) and a.part == part][-1]
        return {newest.marks[1]}

    @property
    def told(self) -> list[str]:
        return changes(self.done, "same air")


def apart() -> Live:
    live = Live()
    live.show(4, 4, 5)
    live.show(4, 30, 16)
    return live


def test_both_are_marked_told_once_and_only_the_higher_is_judged() -> None:
    live = apart()
    assert live.told == ["disagree"]
    body = records(live.done, "same air")[0].body
    assert body["counts"] == "door.pm2_5"
    assert json.loads(json.dumps(body)) == body
    assert live.marks("bench") == live.marks("door") == {Quality.INCONSISTENT_PARTS}
    before = live.core.channels["bench.pm2_5"].history.last
    live.show(4, 30, 5)
    assert live.core.channels["bench.pm2_5"].history.last == before
    assert live.core.channels["door.pm2_5"].speaks(live.core.now)
    assert live.core.alarms["high"].condition.active
    assert live.told == ["disagree"]
    assert changes(live.done, "part") == []


def test_what_disagrees_only_for_a_while_is_not_told() -> None:
    live = Live()
    live.show(4, 4, 5)
    live.show(4, 30, 5)
    live.show(4, 4, 10)
    assert live.told == []


def test_they_agree_again_and_that_is_told_once() -> None:
    live = apart()
    live.show(30, 30, 20)
    assert live.told == ["disagree", "agree"]
    assert live.marks("bench") == {Quality.GOOD}
    assert live.core.channels["bench.pm2_5"].speaks(live.core.now)


def test_where_the_higher_falls_silent_the_lower_counts_again() -> None:
    live = apart()
    live.show(12, None, 2)
    assert live.core.channels["bench.pm2_5"].speaks(live.core.now)
    assert live.told == ["disagree"]


@pytest.mark.parametrize(("bench", "door"), [(1, 5.9), (100, 130)])
def test_within_either_tolerance_they_agree(bench: float, door: float) -> None:
    live = Live()
    live.show(bench, door, 30)
    assert live.told == []


def test_a_reading_that_is_bad_by_itself_stays_so_and_is_not_compared() -> None:
    live = apart()
    live.show(9000, 30, 0.1)
    assert live.marks("bench") == {Quality.OUT_OF_RANGE}


def test_a_restart_goes_on_with_who_counts() -> None:
    live = apart()
    saved = json.loads(json.dumps({"boot": "b", **live.core.save()}))
    core = rooms.core(house(), live.core.now)
    core.same_air.restore(saved["same air"])
    core.restore(saved, same_boot=True)
    again = Live(core)
    again.show(4, 30, 1)
    assert again.marks("bench") == {Quality.INCONSISTENT_PARTS}
    last = core.channels["bench.pm2_5"].history.last
    assert last is None or last < core.now - 55_000  # none but the first, when door was silent yet
    assert core.channels["door.pm2_5"].speaks(core.now)


def as_stored(done: list[Action], events: list[Any]) -> list[Any]:
    """What a log gives: readings with their marks in place of samples."""
    stored = iter([a for a in done if isinstance(a, Readings)])
    return [next(stored) if hasattr(e, "sample") else e for e in events]


values = st.sampled_from([None, 2.0, 4.0, 12.0, 40.0, 9000.0])


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(values, values, st.sampled_from([0.2, 3, 11])), max_size=8))
def test_the_log_alone_gives_the_same_decisions(story: Any) -> None:
    live = Live()
    for bench, door, minutes in story:
        live.show(bench, door, minutes)
    core, again = rooms.core(house()), []
    for event in as_stored(live.done, live.fed):
        again += core.handle(event)
    kinds = ("alarm", "extractor", "same air")
    decided = [[r for r in records(done) if r.kind in kinds] for done in (live.done, again)]
    assert decided[0] == decided[1]


def test_a_log_replayed_without_the_pair_judges_what_was_good_by_itself() -> None:
    live = apart()
    core = rooms.core(house(same_air={}))
    for event in as_stored(live.done, live.fed):
        core.handle(event)
    assert core.channels["bench.pm2_5"].speaks(core.now)


def test_a_lost_part_is_still_told_as_lost() -> None:
    live = apart()
    for n in range(40):
        live.take(Trouble(live.core.now + 1000, "door", f"gone {n}"))
    lost = [r.subject for r in records(live.done, "part")]
    assert sorted(lost) == ["bench", "door"]
