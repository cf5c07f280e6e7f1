"""An alarm never leaves the standard's diagram, whatever the air and people do."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rooms
from ventwright.alarms.alarm import Alarm
from ventwright.alarms.habits import STANDING_AFTER
from ventwright.alarms.states import ASIDE, WAYS, State
from ventwright.means.channel import Channel
from ventwright_drivers.quantities import QUANTITIES

MINUTE = 60_000
S = State


class Bench:
    """An alarm without delays on a channel whose mean is the last reading."""

    def __init__(self, **changes: Any) -> None:
        quick = {"over": 1000, "on_delay": 0, "off_delay": 0, **changes}
        self.channel = Channel("bench.pm2_5", QUANTITIES["pm2_5"], 1000)
        self.alarm = Alarm("print", rooms.alarm(**quick), self.channel)
        self.t = 0

    def show(self, value: float | None, wait: int = 1000) -> list[str]:
        self.t += wait
        if value is not None:
            self.channel.add(self.t, round(value * 10))
        return self.alarm.evaluate(self.t)


def no_data(bench: Bench) -> list[str]:
    return bench.show(None, 10_000)


def test_the_plain_way_round() -> None:
    bench = Bench()
    assert bench.show(12) == ["raised"]
    assert bench.alarm.state is S.UNACKNOWLEDGED
    assert bench.alarm.acknowledge() == ["acknowledged"]
    assert bench.show(2) == ["cleared"]
    assert bench.alarm.state is S.NORMAL
    assert not bench.alarm.standing


def test_cleared_before_anybody_saw_it_waits_to_be_acknowledged() -> None:
    bench = Bench()
    bench.show(12)
    assert bench.show(2) == ["cleared"]
    assert bench.alarm.state is S.RETURNED
    assert bench.show(12) == ["raised"]
    bench.show(2)
    assert bench.alarm.acknowledge() == ["acknowledged"]
    assert bench.alarm.state is S.NORMAL


@pytest.mark.parametrize("order", ["acknowledge first", "clear first"])
def test_a_latching_alarm_stays_until_it_is_acknowledged_and_reset(order: str) -> None:
    bench = Bench(latching=True)
    bench.show(12)
    if order == "acknowledge first":
        bench.alarm.acknowledge()
    bench.show(2)
    if order == "clear first":
        assert bench.alarm.reset() == []
        bench.alarm.acknowledge()
    assert bench.alarm.state is S.LATCHED_ACKNOWLEDGED
    assert bench.alarm.reset() == ["reset"]
    assert bench.alarm.state is S.NORMAL


def test_a_latched_alarm_is_raised_again() -> None:
    bench = Bench(latching=True)
    for _ in range(2):
        assert bench.show(12) == ["raised"]
        assert bench.show(2) == ["cleared"]
    assert bench.alarm.state is S.LATCHED_UNACKNOWLEDGED


def test_nothing_to_acknowledge_or_reset_changes_nothing() -> None:
    bench = Bench()
    assert bench.alarm.acknowledge() == bench.alarm.reset() == []
    assert bench.alarm.unshelve(0) == bench.alarm.put_back(0) == []
    assert bench.alarm.state is S.NORMAL


@pytest.mark.parametrize(
    ("value", "wait", "told"),
    [(24, 5 * MINUTE, ["worse"]), (24, 5 * MINUTE - 1, []), (23.9, 5 * MINUTE, [])],
)
def test_worse_is_told_only_when_doubled_and_not_within_five_minutes(
    value: float, wait: int, told: list[str]
) -> None:
    bench = Bench()
    bench.show(12)
    assert bench.show(value, wait) == told


def test_worse_counts_from_what_was_told_last() -> None:
    bench = Bench()
    bench.show(12)
    bench.show(30, 5 * MINUTE)
    assert bench.show(400) == []
    assert bench.alarm.peak == 400
    assert bench.show(59.9, 5 * MINUTE) == []
    assert bench.show(60, 2000) == ["worse"]


@pytest.mark.parametrize("aside", ["shelved", "out of service"])
def test_what_is_set_aside_is_told_neither_as_worse_nor_as_standing(aside: str) -> None:
    bench = Bench()
    bench.show(12)
    if aside == "shelved":
        bench.alarm.shelve(10**10)
    else:
        bench.alarm.take_out()
    assert bench.show(400, 6 * MINUTE) == []
    assert bench.show(400, STANDING_AFTER) == []
    assert bench.alarm.peak == 400


@pytest.mark.parametrize("setpoint", [0, -10])
def test_at_or_below_zero_an_alarm_does_not_get_worse_by_standing_still(setpoint: float) -> None:
    bench = Bench(setpoint=setpoint)
    bench.channel.add(1000, setpoint * 10)
    assert bench.alarm.evaluate(1000) == ["raised"]
    for n in range(1, 40):
        bench.channel.add(1000 + n * MINUTE, setpoint * 10)
        assert bench.alarm.evaluate(1000 + n * MINUTE) == []


def test_shelving_silences_but_still_extracts_and_comes_back_by_itself() -> None:
    bench = Bench()
    bench.alarm.shelve(20_000)
    assert bench.show(12) == []
    assert bench.alarm.state is S.SHELVED
    assert bench.alarm.extracting
    assert bench.alarm.due == 20_000
    assert bench.show(12, 19_000) == ["unshelved", "raised"]
    assert bench.alarm.state is S.UNACKNOWLEDGED
    assert bench.alarm.since == 1000


def test_what_is_over_when_the_shelf_ends_is_normal() -> None:
    bench = Bench()
    bench.show(12)
    bench.alarm.shelve(20_000)
    assert bench.show(2) == []
    assert bench.alarm.unshelve(bench.t) == ["unshelved"]
    assert bench.alarm.state is S.NORMAL


def test_what_was_acknowledged_is_not_told_again_when_the_shelf_ends() -> None:
    bench = Bench()
    bench.show(12)
    bench.alarm.acknowledge()
    bench.alarm.shelve(20_000)
    bench.alarm.shelve(30_000)
    assert bench.show(12, 30_000) == ["unshelved"]
    assert bench.alarm.state is S.ACKNOWLEDGED


def test_another_time_is_raised_though_the_one_before_was_acknowledged() -> None:
    bench = Bench()
    bench.show(12)
    bench.alarm.acknowledge()
    bench.alarm.shelve(20_000)
    bench.show(2)
    assert bench.show(12) == []
    assert bench.show(12, 20_000) == ["unshelved", "raised"]


def test_shelving_keeps_a_latch() -> None:
    bench = Bench(latching=True)
    bench.show(12)
    bench.show(2)
    bench.alarm.shelve(20_000)
    bench.alarm.unshelve(bench.t)
    assert bench.alarm.state is S.LATCHED_UNACKNOWLEDGED
    bench.show(12)
    bench.alarm.acknowledge()
    bench.alarm.take_out()
    bench.show(2)
    bench.alarm.put_back(bench.t)
    assert bench.alarm.state is S.LATCHED_ACKNOWLEDGED


def test_what_ends_at_the_very_moment_is_not_raised_first() -> None:
    bench = Bench()
    bench.show(12)
    bench.alarm.shelve(2000)
    assert bench.show(2) == ["unshelved"]
    assert bench.alarm.state is S.NORMAL


def test_unshelving_without_data_begins_at_the_peak_and_is_not_worse_for_no_reason() -> None:
    bench = Bench()
    bench.show(12)
    bench.alarm.shelve(15_000)
    assert no_data(bench) == []
    assert no_data(bench) == ["unshelved", "raised"]
    assert bench.alarm.peak == 12
    assert bench.show(12, 6 * MINUTE) == []


def test_out_of_service_stays_so_until_it_is_put_back() -> None:
    bench = Bench()
    bench.show(12)
    assert bench.alarm.take_out() == ["out of service"]
    assert bench.alarm.shelve(10**9) == []
    assert bench.show(2) == bench.show(12) == []
    assert bench.alarm.state is S.OUT_OF_SERVICE
    assert bench.alarm.put_back(bench.t) == ["in service", "raised"]


def test_missing_data_never_clears() -> None:
    bench = Bench()
    bench.show(12)
    for _ in range(50):
        assert no_data(bench) == []
    assert bench.alarm.state is S.UNACKNOWLEDGED
    assert bench.alarm.extracting


def test_rise_is_unknown_while_the_baseline_is() -> None:
    bench = Bench(compare="rise")
    assert bench.show(500) == []
    assert bench.alarm.value is None
    for _ in range(10):
        bench.channel.baseline.learn(20.0)
    assert bench.show(500) == ["raised"]
    assert bench.alarm.value == 498.0


def test_figures_of_another_comparison_are_not_taken_over_by_a_new_configuration() -> None:
    """The owner changes what an alarm compares while it stands, and starts the daemon again."""
    bench = Bench(compare="mean")
    bench.show(400)
    saved = json.loads(json.dumps(bench.alarm.save()))
    changed = Bench(compare="rate", setpoint=10, deadband=3)
    changed.alarm.restore(saved, 0)
    assert changed.alarm.state is S.UNACKNOWLEDGED
    assert changed.alarm.peak is None
    told = [change for value in range(8, 400) for change in changed.show(float(value))]
    assert told == []  # it rises by 60 a minute all the time, as at first
    assert changed.alarm.peak == pytest.approx(60)
    same_way = [change for value in range(400, 1200, 4) for change in changed.show(float(value))]
    assert same_way == ["worse"]
    same = Bench(compare="mean")
    same.alarm.restore(saved, 0)
    assert same.alarm.peak == 400


acts = st.lists(
    st.one_of(
        st.sampled_from(["ack", "reset", "unshelve", "out", "back", "none", "restart"]),
        st.tuples(st.just("shelve"), st.integers(1, 20_000)),
        st.sampled_from([2.0, 8.0, 12.0, 40.0]),
    ),
    max_size=60,
)


def act(bench: Bench, what: Any) -> None:
    alarm = bench.alarm
    if isinstance(what, float):
        bench.show(what)
    elif isinstance(what, tuple):
        alarm.shelve(bench.t + what[1])
    elif what == "restart":
        saved = json.loads(json.dumps(alarm.save()))
        bench.alarm = Alarm("print", alarm.settings, bench.channel)
        bench.alarm.restore(saved, 0)
    else:
        {
            "ack": alarm.acknowledge,
            "reset": alarm.reset,
            "unshelve": lambda: alarm.unshelve(bench.t),
            "out": alarm.take_out,
            "back": lambda: alarm.put_back(bench.t),
            "none": lambda: no_data(bench),
        }[what]()


def allowed(before: State, after: State) -> bool:
    ways = {(b, a) for (b, _), a in WAYS.items()}
    aside = after in ASIDE or before in ASIDE  # then it is what the condition makes it
    return before is after or (before, after) in ways or aside


def consistent(alarm: Alarm) -> bool:
    """A state that says "there is an alarm" goes with the condition, and no other does."""
    if alarm.state in ASIDE:
        return True
    return alarm.condition.active is (alarm.state in (S.UNACKNOWLEDGED, S.ACKNOWLEDGED))


@given(acts, st.booleans())
def test_it_never_leaves_the_diagram(whats: list[Any], latching: bool) -> None:
    bench = Bench(latching=latching)
    for what in whats:
        before = bench.alarm.state
        act(bench, what)
        after = bench.alarm.state
        assert allowed(before, after), (before, after)
        assert consistent(bench.alarm)
        assert (bench.alarm.shelved_until is not None) is (after is S.SHELVED)


@given(acts, st.booleans(), st.integers(-(10**9), 10**9))
def test_it_is_the_same_after_being_saved_and_restored(
    whats: list[Any], latching: bool, shift: int
) -> None:
    bench = Bench(latching=latching)
    for what in whats:
        act(bench, what)
    other = Alarm("print", bench.alarm.settings, bench.channel)
    other.restore(json.loads(json.dumps(bench.alarm.save())), shift)
    back = Alarm("print", bench.alarm.settings, bench.channel)
    back.restore(json.loads(json.dumps(other.save())), -shift)
    assert back.save() == bench.alarm.save()
    assert back.extracting is bench.alarm.extracting
