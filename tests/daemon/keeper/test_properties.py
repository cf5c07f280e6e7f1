"""What holds for alarms whatever the air, the parts and people do: on the whole core."""

import json
from collections import Counter
from collections.abc import Sequence
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from daemon.alarms.diagram import Told, follows_the_diagram, is_told_once
from rooms import measured, records
from ventwright.alarms.states import State
from ventwright.events import Action, Event, Request, Started, Trouble
from ventwright.keeper.core import Core
from ventwright.means.channel import reach_of
from ventwright.notifying.message import Context
from ventwright.notifying.messages import compose
from ventwright.settings.model import SameAir, Settings
from ventwright.storage.reader import StoredEvent

SECOND, MINUTE = 1000, 60_000
KINDS = ("mean", "rise", "rate", "forecast", "departure")


def house() -> Settings:
    """An alarm of every kind, all of it quick; one of them latches."""
    quick = {"over": 4 * SECOND, "on_delay": 0, "off_delay": 2 * SECOND, "coverage": 0.25}
    alarms = {kind: rooms.alarm(compare=kind, **quick) for kind in KINDS}
    return rooms.room(
        parts=("bench", "door"),
        alarms={
            **alarms,
            "latching": rooms.alarm("door.pm10", latching=True, **quick),
            "silence": rooms.alarm(
                compare="silence", over=20 * SECOND, setpoint=1 / 3, deadband=0, on_delay=0
            ),
        },
        same_air={"dust": SameAir(("bench.pm2_5", "door.pm2_5"), 5.0)},
    )


values = st.sampled_from([None, 1.0, 8.0, 12.0, 60.0, 400.0, 9000.0])
parts = st.sampled_from(["bench", "door"])
names = st.sampled_from([*KINDS, "latching", "silence"])
verbs = st.sampled_from(
    ["acknowledge", "reset", "shelve", "unshelve", "take out of service", "put back in service"]
)
happenings = st.one_of(
    st.builds(measured, st.just(0), values, parts),
    st.builds(measured, st.just(0), values, parts),
    st.builds(measured, st.just(0), values, parts),
    st.builds(Trouble, st.just(0), parts, st.just("unplugged")),
    st.builds(Started, st.just(0), parts),
    st.builds(
        Request,
        st.just(0),
        st.just("ada"),
        verbs,
        st.fixed_dictionaries({"name": names, "for": st.integers(1, MINUTE)}),
    ),
)
waits = st.sampled_from([1, 900, 1000, 1000, 1000, 1000, 8000, 31_000, 301_000])
"""The last is long enough for an alarm to be told as worse."""
restarts = st.lists(st.integers(0, 50), max_size=4)
stories = st.lists(st.tuples(waits, happenings), max_size=50)


def live(story: list[tuple[int, Event]], restarts: Sequence[int] = ()) -> list[Action]:
    """Let a core live through a story, with restarts before some of its events."""
    core, t, done = rooms.core(house()), 0, []
    for part in ("bench", "door"):
        core.handle(Started(-5000, part))
    for place, (wait, happening) in enumerate(story):
        if place in restarts:
            saved = json.loads(json.dumps(core.save()))
            core = Core(house(), dict.fromkeys(("bench", "door"), rooms.KIND), core.now)
            core.restore(saved, same_boot=True)
        t += wait
        done += core.handle(happening._replace(t=t))
    return done


def alarms_of(done: list[Action]) -> list[list[Told]]:
    found: dict[str, list[Told]] = {}
    for record in records(done, "alarm"):
        told = (record.body["change"], State(record.body["state"]))
        found.setdefault(record.subject, []).append(told)
    return list(found.values())


@settings(max_examples=60, deadline=None)
@given(stories, restarts)
def test_no_alarm_ever_skips_a_state_of_the_diagram(story: Any, restarts: Any) -> None:
    for told in alarms_of(live(story, restarts)):
        assert follows_the_diagram(told), told


@settings(max_examples=60, deadline=None)
@given(stories, restarts)
def test_no_notification_is_made_twice_for_one_change(story: Any, restarts: Any) -> None:
    done = live(story, restarts)
    events = [StoredEvent(0, 1, r.t, r.kind, r.subject, r.body) for r in records(done)]
    told = [(e, m) for e in events if (m := compose(e, Context("r"))) is not None]
    seen = Counter((event.t, message.key, message.stage) for event, message in told)
    assert all(times == 1 for times in seen.values())
    for changes in alarms_of(done):
        assert is_told_once(changes), changes


@settings(max_examples=50, deadline=None)
@given(stories)
def test_without_a_good_reading_nothing_is_cleared(story: Any) -> None:
    core, t = rooms.core(house()), 0
    for part in ("bench", "door"):
        core.handle(Started(-5000, part))
    for wait, happening in story:
        t += wait
        core.handle(happening._replace(t=t))
    spoken = t + reach_of(rooms.PERIOD)
    late = [r for r in records(core.advance(t + 3 * MINUTE), "alarm") if r.t > spoken]
    assert "cleared" not in [record.body["change"] for record in late]


@settings(max_examples=30, deadline=None)
@given(stories)
def test_the_same_story_gives_the_same_decisions(story: Any) -> None:
    assert live(story) == live(story)
