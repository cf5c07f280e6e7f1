"""Lines of events, byte for byte, and how they differ where events are alike."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from receivers import split_line
from ventwright.alarms.states import State
from ventwright.exporting.events import lines_of_events
from ventwright.storage.reader import StoredEvent

T = 1_764_061_200_123
HEAD = "room_air_events,room=Workshop"


def event(kind: str, subject: str, t: int = 123, number: int = 1, **body: Any) -> StoredEvent:
    return StoredEvent(number, 1, t, kind, subject, body)


def lines(*events: StoredEvent, before: tuple[StoredEvent, ...] = ()) -> list[str]:
    made = lines_of_events(("room_air", "Workshop"), before, [(each, T - 123) for each in events])
    return [line.decode() for line in made]


PAIRS = [
    (
        event("extractor", "window fan", **{"from": "standby", "to": "run-on"}, on=True, why=""),
        rf"{HEAD},kind=extractor,subject=window\ fan on=1 {T}",
    ),
    (
        event("alarm", "print", change="raised", state="unacknowledged", value=23.1, over=60_000,
              dose=None, optical=True, extractors={"fan": "standby"}),
        f'{HEAD},kind=alarm,subject=print change="raised",value=23.1,over=60000,optical=1,active=1'
        f" {T}",
    ),
    (
        event("alarm", "print", change="cleared", state="returned to normal, unacknowledged"),
        f'{HEAD},kind=alarm,subject=print change="cleared",active=0 {T}',
    ),
    (
        event("part", "bench", change="lost", why="no answer", partly=False),
        f'{HEAD},kind=part,subject=bench change="lost",partly=0,lost=1 {T}',
    ),
    (
        event("relay", "usb", change="back", why="", commanded=True),
        f'{HEAD},kind=relay,subject=usb change="back",commanded=1,failing=0 {T}',
    ),
    (
        event("fan", "fan", change="failed", speed=0.0),
        f'{HEAD},kind=fan,subject=fan change="failed",speed=0,failing=1 {T}',
    ),
    (
        event("store", "store", change="set aside", why="damaged", file="/x"),
        f'{HEAD},kind=store,subject=store change="set aside",count=1 {T}',
    ),
    (
        event("same air", "a b", change="disagree", means=[1, 2], over=60_000),
        rf'{HEAD},kind=same\ air,subject=a\ b change="disagree",over=60000,apart=1 {T}',
    ),
    (
        event("keeper", "keeper", change="started", missed=None, restored=5),
        f'{HEAD},kind=keeper,subject=keeper change="started",restored=5,running=1 {T}',
    ),
    (
        event("source", "bench.pm2_5", change="began", emitting=True, emission=0.1, total=1e20),
        f'{HEAD},kind=source,subject=bench.pm2_5 change="began",emitting=1,emission=0.1,total=1e+20'
        f" {T}",
    ),
    (
        event("request", "Anna", verb="hold", words={"for": 5}, who="anna", answer={"done": True}),
        f"{HEAD},kind=request count=1 {T}",
    ),
    (
        event("mark", "PLA 210", phase="print", labels={}, who="anna", change="by Anna", grams=12),
        f"{HEAD},kind=mark grams=12 {T}",
    ),
    (
        event("clock", "local time", local=None),
        rf"{HEAD},kind=clock,subject=local\ time count=1 {T}",
    ),
    (event("mark", "a", **{"\ud800b": 1}), f"{HEAD},kind=mark ?b=1 {T}"),
    (event("new", "", change=7), f"{HEAD},kind=new count=1 {T}"),
    (
        event("new", "x", a=float("nan"), b=float("inf"), c=10**400, d="1", **{"": 4, "e f": -0.5}),
        rf"{HEAD},kind=new,subject=x e\ f=-0.5 {T}",
    ),
    (
        event("new", "x", change='a "b"\n\\c'),
        rf'{HEAD},kind=new,subject=x change="a \"b\" \\c",count=1 {T}',
    ),
]  # fmt: skip


@pytest.mark.parametrize(("happened", "line"), PAIRS, ids=[p[0].kind for p in PAIRS])
def test_a_line_an_event(happened: StoredEvent, line: str) -> None:
    assert lines(happened) == [line]


@pytest.mark.parametrize("state", list(State))
def test_an_alarm_is_active_while_it_is_raised(state: State) -> None:
    (line,) = lines(event("alarm", "print", state=state.value))
    assert (" active=1 " in line) == (state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED))


def test_alike_in_one_ms_are_told_apart_in_the_order_in_which_they_were_stored() -> None:
    first, second = (
        event("alarm", "print", change="raised"),
        event("alarm", "print", change="worse"),
    )
    others = event("alarm", "other", change="raised"), event("alarm", "print", t=124)
    found = lines(first, *others, second)
    assert [",nth=2 " in line for line in found] == [False, False, False, True]
    assert found == [line for e in (first, *others) for line in lines(e)] + lines(
        second, before=(first, *others)
    )


def test_requests_in_one_ms_are_told_apart_whatever_they_are_about() -> None:
    assert [",nth=2 " in line for line in lines(event("request", "a"), event("request", "b"))] == [
        False,
        True,
    ]


BODY = st.dictionaries(
    st.text(min_size=0, max_size=5),
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.lists(st.integers()),
)


@given(st.sampled_from(["alarm", "part", "mark", "request", "new"]), st.text(max_size=5), BODY)
def test_whatever_an_event_holds_every_field_but_the_change_is_a_number(
    kind: str, subject: str, body: dict[str, Any]
) -> None:
    body.pop("change", None)
    (line,) = lines(StoredEvent(1, 1, 123, kind, subject, body))
    if "\\" in line:  # names with spaces are for the pairs above
        return
    _, fields, t = split_line(line)
    assert fields
    assert all(isinstance(float(value), float) for value in fields.values())
    assert int(t) == T
