"""The extractor: whatever happens, minimum times hold and blindness has the owner's answer."""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from ventwright.extraction.extractor import Demand, Extractor, Hold, State

MINUTE = 60_000
TIMES = {"minimum_on": 180_000, "minimum_off": 60_000, "run_on": 90_000, "blind_after": 120_000}


def extractor(t: int = 0, **changes: Any) -> Extractor:
    return Extractor("hood", rooms.extractor(**{**TIMES, **changes}), t)


def fed(fan: Extractor, t: int, demand: str = "") -> Extractor:
    """Let it decide at `t` with data as fresh as can be."""
    fan.step(t, Demand(demand), t)
    return fan


class Story:
    """An extractor that lives through random events, woken whenever it asked to be."""

    def __init__(self, when_blind: str) -> None:
        self.fan = extractor(when_blind=when_blind)
        self.t = self.last_data = self.last_start = 0
        self.demand, self.data, self.fed = "", True, False
        self.switched: list[tuple[int, bool]] = [(0, False)]

    def run(self, wait: int) -> None:
        """Let time pass, stopping at every moment that the extractor named."""
        end = self.t + wait
        for _ in range(20):
            self.decide()
            if self.fan.due > end:
                break
            assert self.fan.due > self.t, "it asks for a time that does not come"
            self.t = self.fan.due
        else:
            pytest.fail("it never comes to rest")
        self.t = end
        self.decide()

    def decide(self) -> None:
        if self.data:
            self.last_data = self.t
        self.fan.step(self.t, Demand(self.demand), self.last_data)
        if self.fan.on is not self.switched[-1][1]:
            self.switched.append((self.t, self.fan.on))
        self.check()

    def check(self) -> None:
        fan = self.fan
        blind = self.t - max(self.last_data, self.last_start) >= TIMES["blind_after"]
        if blind and fan.hold is None:
            assert fan.state is State.BLIND
        if fan.state is State.BLIND and not fan.waiting:
            assert fan.on is (fan.settings.when_blind == "on")
        if fan.state is State.STANDBY:
            assert not self.demand

    def restart(self, safe: bool) -> None:
        saved = json.loads(json.dumps(self.fan.save()))
        fresh = Extractor("hood", self.fan.settings, self.t)
        fresh.restore(saved, 0, self.t, safe)
        if fresh.on is not self.switched[-1][1]:
            self.switched = [(self.t, fresh.on)]  # forced by the safe state, not a decision
        assert fresh.switched == self.switched[-1][0]
        self.fan, self.last_start = fresh, self.t

    def hold(self, on: bool, length: int) -> None:
        self.fan.hold = Hold(on, self.t + length, "somebody")

    def obey(self, what: tuple[str, Any]) -> None:
        kind, value = what
        if kind == "hold":
            self.hold(*value)
        elif kind == "release":
            self.fan.hold = None
        elif kind == "restart":
            self.restart(value)
        else:
            setattr(self, kind, value)


events = st.lists(
    st.tuples(
        st.one_of(
            st.tuples(st.just("demand"), st.sampled_from(["", "alarm print"])),
            st.tuples(st.just("data"), st.booleans()),
            st.tuples(st.just("hold"), st.tuples(st.booleans(), st.integers(1, 10 * MINUTE))),
            st.tuples(st.just("release"), st.none()),
            st.tuples(st.just("restart"), st.booleans()),
        ),
        st.one_of(st.integers(0, 5000), st.integers(0, 10 * MINUTE)),
    ),
    max_size=40,
)


@settings(max_examples=300, deadline=None)
@given(events, st.sampled_from(["on", "off"]))
def test_no_two_switches_are_closer_than_the_minimum_times(
    steps: list[tuple[tuple[str, Any], int]], when_blind: str
) -> None:
    story = Story(when_blind)
    for what, wait in steps:
        story.obey(what)
        story.run(wait)
        for (before, on), (after, _) in zip(story.switched, story.switched[1:], strict=False):
            assert after - before >= (TIMES["minimum_on"] if on else TIMES["minimum_off"])


def test_an_alarm_starts_it_once_the_minimum_off_time_since_the_start_is_over() -> None:
    fan = fed(extractor(), 1000, "alarm print")
    assert (fan.state, fan.on, fan.waiting) == (State.EXTRACTING, False, True)
    assert fan.due == TIMES["minimum_off"]
    assert not fed(fan, TIMES["minimum_off"] - 1, "alarm print").on
    assert fed(fan, TIMES["minimum_off"], "alarm print").on


def test_it_runs_on_for_exactly_the_stated_time() -> None:
    fan = fed(extractor(minimum_on=0, minimum_off=0), 1000, "alarm print")
    assert fan.on
    assert fed(fan, 5000).state is State.RUN_ON
    assert fan.due == 5000 + TIMES["run_on"]
    assert fed(fan, fan.due - 1).on
    assert not fed(fan, 5000 + TIMES["run_on"]).on
    assert fan.state is State.STANDBY


def test_a_new_alarm_during_run_on_begins_the_run_on_anew() -> None:
    fan = fed(extractor(), MINUTE, "alarm print")
    fed(fed(fan, 2 * MINUTE), 2 * MINUTE + 1000, "alarm print")
    fed(fan, 10 * MINUTE)
    assert fan.due == 10 * MINUTE + TIMES["run_on"]


@pytest.mark.parametrize("when_blind", ["on", "off"])
@pytest.mark.parametrize("demand", ["", "alarm print"])
def test_blind_exactly_after_the_stated_time_and_then_as_the_owner_chose(
    when_blind: Any, demand: str
) -> None:
    fan = extractor(when_blind=when_blind, minimum_on=0, minimum_off=0)
    fan.step(1000, Demand(demand), 1000)
    fan.step(1000 + TIMES["blind_after"] - 1, Demand(demand), 1000)
    assert fan.state is not State.BLIND
    assert fan.due == 1000 + TIMES["blind_after"]
    fan.step(fan.due, Demand(demand), 1000)
    assert fan.state is State.BLIND
    assert fan.on is (when_blind == "on")


def test_where_nothing_decides_it_is_never_blind() -> None:
    fan = extractor()
    fan.step(10**12, Demand(""), None)
    assert fan.state is State.STANDBY


def test_a_restart_while_blind_is_no_news_of_the_air() -> None:
    fan = extractor()
    fan.step(TIMES["blind_after"], Demand(""), 0)
    again = extractor(200_000)
    again.restore(fan.save(), 0, 200_000, False)
    again.step(200_001, Demand(""), 0)
    assert again.state is State.BLIND
    again.step(200_002, Demand(""), 200_002)
    assert again.state is State.STANDBY


def test_a_hold_wins_over_everything_and_ends_by_itself() -> None:
    fan = extractor(minimum_on=0, minimum_off=0)
    fan.hold = Hold(False, 10 * MINUTE, "ada")
    change = fan.step(9 * MINUTE, Demand("alarm print"), 0)
    assert change is not None
    assert change.why == "by ada"
    assert (fan.state, fan.on) == (State.HELD_OFF, False)
    assert fan.due == 10 * MINUTE
    assert fed(fan, fan.due, "alarm print").state is State.EXTRACTING


def test_a_restart_of_another_boot_keeps_the_rest_of_a_hold() -> None:
    fan = extractor()
    fan.hold = Hold(True, 10 * MINUTE, "ada")
    again = extractor(500)
    again.restore(json.loads(json.dumps(fan.save())), -9 * MINUTE, 500, False)
    assert again.hold == Hold(True, MINUTE, "ada")


@pytest.mark.parametrize("safe", [False, True])
@pytest.mark.parametrize("was_on", [False, True])
def test_after_a_restart_the_relay_is_in_its_safe_state_and_the_worst_case_holds(
    safe: bool, was_on: bool
) -> None:
    fan = extractor()
    fan.on, fan.switched = was_on, 7
    again = extractor(9 * MINUTE)
    again.restore(fan.save(), 0, 9 * MINUTE, safe)
    assert again.on is safe
    assert again.switched == (7 if was_on is safe else 9 * MINUTE)
