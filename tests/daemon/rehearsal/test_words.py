import click
import pytest

from ventwright.rehearsal.phone import Received
from ventwright.rehearsal.words import (
    CELLS,
    WIDTH,
    Look,
    bar,
    clock,
    contact_line,
    course_line,
    event_line,
    message_lines,
)
from ventwright.storage.reader import StoredEvent
from ventwright.words import change, reason

RAISED = {
    "change": "raised", "value": 29.2, "unit": "µg/m³", "compare": "rise", "over": 60_000,
    "setpoint": 20.0, "deadband": 8.0, "peak": 29.2,
}  # fmt: skip


def _event(kind: str, subject: str, **body: object) -> StoredEvent:
    return StoredEvent(1, 1, 60_000 + 1_998_800, kind, subject, dict(body))


def _plain(text: str) -> str:
    return click.unstyle(text)


@pytest.mark.parametrize(
    ("second", "written"), [(0, "+00:00:00"), (1998.8, "+00:33:18"), (9000, "+02:30:00")]
)
def test_clock(second: float, written: str) -> None:
    assert clock(second) == written


def test_bar_shows_rise_ghost_and_setpoint() -> None:
    assert bar(None, 0, 20, 60) == " " * 10 + "╎" + " " * 20
    assert bar(30, 40, 20, 60) == "█" * 15 + "░" * 5 + " " * 11
    assert bar(10.25, 30, 20, 60) == "█████▏░░░░╎░░░░" + " " * 16
    assert bar(-3, -1, 20, 60) == bar(0, 0, 20, 60)


def test_bar_that_is_too_long_says_so() -> None:
    assert bar(61, 0, 20, 60) == "█" * CELLS + "▸"
    assert bar(10, 100, 20, 60).endswith("▸")


def test_course_line_is_plain_to_read_and_narrow_enough() -> None:
    look = Look(7200, 123.4, 119.9, 300.0, True, "purge and first layer")
    line = _plain(course_line(look, "fan", 20, 60))
    assert line.startswith("+02:00  PM2.5 123.4  rise +119.9  ██████")
    assert line.endswith("fan on   purge and first layer")
    assert len(line) <= WIDTH


def test_course_line_before_anything_is_known() -> None:
    line = _plain(course_line(Look(60, None, None, 0, False, ""), "fan", 20, 60))
    assert line.startswith("+00:01  PM2.5     …  rise     …")
    assert line.endswith("fan off")


def test_alarm_says_why() -> None:
    event = _event("alarm", "fumes", **RAISED)
    assert reason(event) == "rise of 29.2 µg/m³ over 1 min, setpoint 20 µg/m³"
    assert _plain(event_line(event)) == (
        "+00:33:18 ┃ alarm fumes: raised - rise of 29.2 µg/m³ over 1 min, setpoint 20 µg/m³"
    )


def test_cleared_alarm_says_its_peak() -> None:
    event = _event("alarm", "fumes", **{**RAISED, "change": "cleared", "value": 10.0})
    assert reason(event) == "rise of 10.0 µg/m³ over 1 min, below 12 µg/m³; its peak was 29.2 µg/m³"
    assert reason(_event("alarm", "fumes", **{**RAISED, "value": None})) == ""


def test_extractor_says_from_where_to_where() -> None:
    event = _event("extractor", "fan", **{"from": "standby", "to": "extracting", "why": "alarm"})
    assert change(event) == "standby to extracting"
    assert _plain(event_line(event)).endswith("extractor fan: standby to extracting - alarm")


def test_keeper_is_not_named_twice() -> None:
    event = _event("keeper", "keeper", change="started", why="first start")
    assert _plain(event_line(event)).endswith("┃ keeper started - first start")


def test_long_texts_are_wrapped_under_each_other() -> None:
    event = _event("part", "bench", change="lost", why="word " * 40)
    lines = _plain(event_line(event)).split("\n")
    assert len(lines) == 3
    assert all(len(line) <= WIDTH for line in lines)
    assert all(line.startswith(" " * 10 + "┃ ") for line in lines[1:])
    told = _plain(message_lines(Received("title", "word " * 40))).split("\n")
    assert told[0] == "          ✉ title"
    assert all(len(line) <= WIDTH for line in told)


def test_contact() -> None:
    assert _plain(contact_line(1999, True, "relay")) == (
        "+00:33:19 ┃ the contact of relay closes: the extractor runs"
    )
