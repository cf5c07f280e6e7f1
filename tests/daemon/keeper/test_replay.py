"""Replaying what was stored gives the decisions that were taken, whenever the core looked."""

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from rooms import measured
from ventwright.events import Action, Event, RelayReport, Request, Started, StoreReport, Trouble
from ventwright.keeper.core import Core
from ventwright.settings.model import Settings

START = 12_345


def house() -> Settings:
    """Two parts, alarms of both kinds, two fans, all of it quick."""
    quick = {"minimum_on": 4000, "minimum_off": 3000, "run_on": 5000, "blind_after": 10_000}
    return rooms.room(
        parts=("bench", "door"),
        relays={"board": rooms.relay(), "other": rooms.relay("on")},
        extractors={
            "hood": rooms.extractor(**quick),
            "wall": rooms.extractor(**{**quick, "relay": "other", "when_blind": "off"}),
        },
        alarms={
            "print": rooms.alarm("bench.pm2_5", over=3000, on_delay=1500, off_delay=2500),
            "far": rooms.alarm("door.pm10", over=8000, latching=True, priority="high"),
            "told": rooms.alarm("door.pm1", over=1000, on_delay=0, off_delay=0, extract=False),
        },
    )


parts = st.sampled_from(["bench", "door"])
values = st.sampled_from([None, 1.0, 8.0, 12.0, 30.0, 9000.0])
words = st.fixed_dictionaries(
    {
        "name": st.sampled_from(["print", "far", "hood", "wall", "nothing"]),
        "for": st.integers(1, 20_000),
        "on": st.booleans(),
    }
)
verbs = st.sampled_from(
    ["acknowledge", "shelve", "unshelve", "reset", "hold", "release", "take out of service"]
)


def event(kind: str, part: str, value: float | None, verb: str, said: Any) -> Event:
    made: dict[str, Event] = {
        "measured": measured(0, value, part),
        "started": Started(0, part),
        "trouble": Trouble(0, part, "unplugged"),
        "relay": RelayReport(0, "board", True, said["on"]),
        "store": StoreReport(0, "full" if said["on"] else "", 1),
        "request": Request(0, "ada", verb, said),
    }
    return made[kind]


kinds = st.sampled_from(
    ["measured"] * 6 + ["started", "trouble", "relay", "store", "request", "request"]
)
happenings = st.builds(event, kinds, parts, values, verbs, words)
waits = st.one_of(st.integers(0, 1500), st.sampled_from([0, 1, 999, 1000, 1001, 30_000]))
stories = st.lists(
    st.tuples(waits, st.lists(st.integers(0, 1500), max_size=3), st.integers(0, 3), happenings),
    max_size=60,
)


def fresh() -> Core:
    return rooms.core(house(), START)


def live(story: list[tuple[int, list[int], int, Event]]) -> tuple[list[Event], list[Action], int]:
    """Let a core live through a story with its own looks; returns events as they were stored."""
    core, done, stored, t = fresh(), [], [], START
    for wait, looks, late, happening in story:
        for look in sorted(looks):
            done += core.advance(t + min(look, wait))
        t += wait
        done += core.handle(happening._replace(t=t - late))
        stored.append(happening._replace(t=core.now))
    return stored, done + core.advance(t + 60_000), t + 60_000


@settings(max_examples=150, deadline=None)
@given(stories)
def test_the_stored_times_alone_give_the_same_decisions(story: Any) -> None:
    stored, done, end = live(story)
    core, again = fresh(), []
    for happening in stored:
        again += core.handle(happening)
    assert again + core.advance(end) == done


@settings(max_examples=50, deadline=None)
@given(stories)
def test_the_same_story_gives_the_same_decisions(story: Any) -> None:
    assert live(story) == live(story)


@settings(max_examples=50, deadline=None)
@given(stories)
def test_times_of_what_is_done_never_go_back_and_events_have_their_own(story: Any) -> None:
    stored, done, _ = live(story)
    times = [action.t for action in done]
    assert times == sorted(times)
    own = [happening.t for happening in stored]
    assert own == sorted(set(own))
