"""The condition of an alarm against a model that keeps the whole history and looks back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.alarms.condition import Condition

ON, OFF = 3000, 5000
SETPOINT, DEADBAND = 10.0, 3.0

Look = tuple[int, float | None]

looks = st.lists(
    st.tuples(
        st.one_of(st.integers(1, 4000), st.sampled_from([ON, OFF])),
        st.one_of(st.none(), st.sampled_from([6.99, 7.0, 8.0, 9.99, 10.0, 50.0]), st.floats(0, 20)),
    ),
    max_size=60,
)


def condition() -> Condition:
    return Condition(SETPOINT, DEADBAND, ON, OFF)


def calls_for_a_change(active: bool, value: float | None) -> bool:
    if value is None:
        return False
    return value < SETPOINT - DEADBAND if active else value >= SETPOINT


def model(seen: list[Look]) -> bool:
    """Replay the whole past: a change comes when an unbroken run has lasted for the delay."""
    active, run_from = False, None
    for t, value in seen:
        if not calls_for_a_change(active, value):
            run_from = None
            continue
        run_from = t if run_from is None else run_from
        if t - run_from >= (OFF if active else ON):
            active, run_from = not active, None
    return active


@given(looks)
def test_it_agrees_with_the_model_after_every_look(steps: list[Look]) -> None:
    found, seen, t = condition(), [], 0
    for wait, value in steps:
        t += wait
        before = found.active
        seen.append((t, value))
        assert found.update(t, value) is (found.active != before)
        assert found.active is model(seen)


@given(looks)
def test_a_missing_value_never_changes_it_and_stops_the_delay(steps: list[Look]) -> None:
    found, t = condition(), 0
    for wait, value in steps:
        t += wait
        found.update(t, value)
        before = found.active
        assert not found.update(t, None)
        assert not found.update(t + 10**9, None)
        assert found.active is before
        assert found.due is None


def test_it_begins_at_the_setpoint_exactly_when_the_on_delay_is_over() -> None:
    found = condition()
    assert not found.update(0, 10.0)
    assert found.due == ON
    assert not found.update(ON - 1, 10.0)
    assert found.update(ON, 10.0)
    assert found.active
    assert found.due is None


@pytest.mark.parametrize(("value", "ends"), [(7.0, False), (6.999, True)])
def test_it_ends_only_below_setpoint_minus_deadband(value: float, ends: bool) -> None:
    found = condition()
    found.active = True
    found.update(0, value)
    assert found.update(OFF, value) is ends
    assert found.active is not ends


def test_the_delay_begins_anew_after_a_moment_on_the_other_side() -> None:
    found = condition()
    found.update(0, 11.0)
    found.update(ON - 1, 9.99)
    assert not found.update(ON, 11.0)
    assert found.due == 2 * ON


def test_without_delays_it_changes_at_once() -> None:
    found = Condition(SETPOINT, DEADBAND, 0, 0)
    assert found.update(0, 10.0)
    assert found.update(0, 6.9)
    assert not found.active


def test_without_a_deadband_the_setpoint_itself_does_not_end_it() -> None:
    found = Condition(SETPOINT, 0, 0, 0)
    assert found.update(0, 10.0)
    assert not found.update(1, 10.0)
    assert found.update(2, 9.99)


SETTLED = 20_000
calm_looks = st.lists(
    st.tuples(
        st.integers(1, 9000),
        st.one_of(st.none(), st.sampled_from([6.0, 7.0, 9.99, 10.0, 11.0])),
        st.booleans(),
    ),
    max_size=60,
)


def has_settled(seen: list[tuple[int, float | None, bool]]) -> bool:
    """Tell whether the last looks, unbroken for long enough, were below the setpoint and calm."""
    began = None
    for t, value, calm in reversed(seen):
        if value is None or value >= SETPOINT or not calm:
            break
        began = t
    return began is not None and seen[-1][0] - began >= SETTLED


@given(calm_looks)
def test_long_below_the_setpoint_in_calm_air_is_as_good_as_below_the_deadband(
    steps: list[tuple[int, float | None, bool]],
) -> None:
    found = Condition(SETPOINT, DEADBAND, 0, 0, SETTLED)
    seen: list[tuple[int, float | None, bool]] = []
    t = 0
    for wait, value, calm in steps:
        t += wait
        was = found.active
        seen.append((t, value, calm))
        changed = found.update(t, value, calm)
        falls = value is not None and (value < SETPOINT - DEADBAND or has_settled(seen))
        assert changed is (falls if was else value is not None and value >= SETPOINT)
        if changed:
            seen.clear()


def test_what_settles_needs_all_of_the_time_and_nothing_that_emits() -> None:
    found = Condition(SETPOINT, DEADBAND, 0, OFF, SETTLED)
    assert found.update(0, 10.0)
    assert found.settles_in(0) == SETTLED
    assert not found.update(1000, 8.0, True)
    assert found.settles_in(11_000) == 10_000
    assert not found.update(1000 + SETTLED - 1, 8.0, False)
    assert not found.update(50_000, 8.0, True)
    assert not found.update(50_000 + SETTLED, 8.0, True)
    assert found.due == 50_000 + SETTLED + OFF
    assert found.update(50_000 + SETTLED + OFF, 8.0, True)
