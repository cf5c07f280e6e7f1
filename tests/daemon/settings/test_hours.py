"""Hours of a week as people write them."""

import time
from collections.abc import Iterator
from datetime import date

import pytest

from ventwright.settings.hours import parse_hours, parse_time, spans_of

HOUR = 3_600_000
THURSDAY = date(2026, 9, 24)


@pytest.fixture(autouse=True)
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def lengths(text: str, day: date = THURSDAY) -> list[float]:
    return [(end - begin) / HOUR for begin, end in spans_of([parse_hours(text)], day)]


def test_hours_hold_on_their_days_only() -> None:
    assert lengths("mon-fri 08:00-13:00") == [5]
    assert lengths("sat 10:00-12:00") == []
    assert lengths(" Fri-Mon  08:00 - 09:30 ") == []
    assert lengths("fri-mon 08:00-09:30", date(2026, 9, 27)) == [1.5]
    assert lengths("00:00-24:00") == [24]


def test_a_night_ends_on_the_next_day_and_the_clock_change_counts() -> None:
    assert lengths("22:00-06:00") == [8]
    assert lengths("22:00-06:00", date(2026, 10, 24)) == [9]


def test_overlapping_hours_count_once() -> None:
    texts = ["08:00-12:00", "mon-fri 11:00-13:00", "14:00-15:00"]
    spans = spans_of(map(parse_hours, texts), THURSDAY)
    assert [(end - begin) / HOUR for begin, end in spans] == [5, 1]


@pytest.mark.parametrize(
    "text",
    ["", "8-13", "mon 08:00", "08:00-08:00", "24:00-08:00", "20:00-24:30", "mo-fr 08:00-9:00"],
)
def test_what_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"mon-fri 08:00-13:00"):
        parse_hours(text)


def test_times_of_day() -> None:
    assert parse_time("18:05") == 18 * 60 + 5
    with pytest.raises(ValueError, match="such as"):
        parse_time("24:00")
