"""Episodes and hours, from records as the core makes them."""

from typing import Any

import pytest

import rooms
from ventwright.events import Record, Switch
from ventwright.replaying.differences import alarm_differences, apart
from ventwright.replaying.items import Start
from ventwright.replaying.outcome import Outcome
from ventwright.replaying.tally import Episodes, Fans, Span
from ventwright.replaying.words import difference_lines, lines, log_lines


def start(t: int, offset: int = 0) -> Start:
    return Start(t, offset, "one", lambda *_: None, carries=True)


def told(t: int, change: str, state: str = "unacknowledged", peak: float = 12.0) -> Record:
    return rooms.records(_raised())[0]._replace(
        t=t, body={**_body(), "change": change, "state": state, "peak": peak}
    )


def _raised() -> list[Any]:
    return [Record(0, "alarm", "print", _body())]


def _body() -> dict[str, Any]:
    figures = {"value": 12.0, "setpoint": 10.0, "deadband": 3.0, "baseline": None, "coverage": 1.0}
    return {"compare": "mean", "over": 60_000, "unit": "µg/m³", **figures}


def episodes(*records: Record, end: int = 10_000) -> Episodes:
    heard = Episodes()
    heard.begin(start(0), rooms.core())
    for record in records:
        heard.hear(record)
    heard.end(end)
    return heard


def test_an_episode_goes_from_raised_to_cleared_with_its_peak() -> None:
    (one,) = episodes(
        told(1000, "raised"), told(2000, "worse", peak=30), told(5000, "cleared", "normal", 31)
    ).all
    assert (one.since, one.until, one.lasted, one.peak) == (1000, 5000, 4000, 31)


def test_what_stands_at_the_end_lasts_until_then() -> None:
    (one,) = episodes(told(1000, "raised")).all
    assert (one.until, one.lasted) == (None, 9000)


@pytest.mark.parametrize("changes", [["acknowledged"], ["shelved", "unshelved", "raised"]])
def test_hands_do_not_cut_an_episode(changes: list[str]) -> None:
    between = [told(2000 + n, change) for n, change in enumerate(changes)]
    (one,) = episodes(told(1000, "raised"), *between, told(4000, "cleared", "normal")).all
    assert one.lasted == 3000


def test_an_alarm_that_recovered_on_the_shelf_ends_when_it_is_taken_back() -> None:
    records = told(1000, "raised"), told(2000, "shelved", "shelved")
    (one,) = episodes(*records, told(4000, "unshelved", "normal")).all
    assert one.until == 4000


def test_a_fan_is_counted_while_a_keeper_lives() -> None:
    fans = Fans()
    for born in (0, 50_000):
        fans.begin(start(born), rooms.core(t=born))
        body = {"from": "standby", "to": "extracting", "on": True, "why": "x"}
        fans.hear(Record(born + 1000, "extractor", "hood", body))
        fans.hear(Switch(born + 1000, "board", True))
        fans.end(born + 5000)
    hood = fans.fans["hood"]
    assert (hood.on, hood.starts) == (8000, 2)
    assert hood.states == {"standby": 2000, "extracting": 8000}


def test_the_span_tells_the_time_without_a_keeper() -> None:
    span, core = Span(), rooms.core()
    for born, died, offset in ((0, 5000, 0), (100, 300, 8000), (400, 900, 8000)):
        span.begin(start(born, offset), core)
        span.end(died)
    assert (span.since, span.until, span.length) == (0, 8900, 8900)
    assert (span.lives, span.without) == (3, 3100 + 100)


def outcome(label: str, *records: Record) -> Outcome:
    made = Outcome(label, rooms.room())
    for listener in made.listeners:
        listener.begin(start(0), rooms.core())
        for record in records:
            listener.hear(record)
        listener.end(10_000)
    return made


def pair(at: int) -> tuple[Record, Record]:
    return told(at, "raised"), told(at + 1000, "cleared", "normal")


def test_differences_name_the_episodes_that_only_one_has() -> None:
    first = outcome("a.toml", *pair(1000), *pair(4000))
    other = outcome("b.toml", *pair(1500), *pair(7000))
    (one,) = alarm_differences(first, other)
    assert (one.times, one.lasted) == ((2, 2), (2000, 2000))
    assert [e.since for e in one.only_first] == [4000]
    assert [e.since for e in one.only_other] == [7000]
    assert len(apart(first.decisions, other.decisions)) == 4
    assert apart(first.decisions, first.decisions) == []
    said = "\n".join(difference_lines(first, other))
    assert "a.toml first and b.toml second" in said
    assert "only with the second, 1 time" in said


def test_many_episodes_are_not_all_listed() -> None:
    many = outcome("a.toml", *(r for n in range(30) for r in pair(3000 * n)))
    assert "    ... and 10 more; --json gives all." in list(lines(many))


def test_an_empty_log_says_so() -> None:
    assert list(log_lines(Outcome("", rooms.room()))) == ["The log is empty."]
