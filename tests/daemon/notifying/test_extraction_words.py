"""What is told of fans and sources, word by word."""

from typing import Any

import pytest

from ventwright.notifying.message import Context
from ventwright.notifying.messages import compose
from ventwright.storage.reader import StoredEvent

CLEAR = {"about": 60_000, "from": 30_000, "to": 120_000, "emits": False}


def clock(t: int) -> str:
    return f"14:{t // 60_000:02d}"


def told(
    kind: str, body: dict[str, Any], subject: str = "hood", trusted: bool = True, t: int = 0
) -> Any:
    context = Context("shed", time_of_day=clock if trusted else lambda _: None)
    return compose(StoredEvent(1, 1, t, kind, subject, body), context)


def test_low_clearance_says_by_how_much_and_where_to_look() -> None:
    body = {
        "change": "low", "share": 0.52, "share_sigma": 0.06, "clearance": 3.6, "commissioned": 6.0,
    }  # fmt: skip
    message = told("clearance", body)
    assert message.title == "shed: hood clears 52 % of usual"
    assert "is 52 % of what was commissioned (give or take 10)" in message.body
    assert "3.6 air changes an hour instead of 6.0" in message.body
    assert "filter" in message.body
    assert "duct" in message.body
    assert "window" in message.body
    assert message.stage == "begin"
    back = told("clearance", {**body, "change": "back", "share": 0.98})
    assert (back.key, back.stage) == (message.key, "end")
    assert told("clearance", {**body, "change": "found"}) is None


def test_the_end_of_a_source_says_when_the_air_is_clear() -> None:
    body = {
        "change": "ended", "clear": CLEAR, "total": 3100.0, "total_sigma": 200.0,
        "total_unit": "µg",
    }  # fmt: skip
    message = told("source", body, "bench.pm2_5", t=-60 * 60_000)
    assert "Clear by about 14:01, 14:00 to 14:02." in message.body
    assert "3.1 mg (give or take 0.3)" in message.body
    assert "guess" not in message.body
    guessed = told("source", {**body, "measured": False}, "bench.pm2_5", t=-60 * 60_000)
    assert "The room is not commissioned: the rate at which its air clears is a gu" in guessed.body
    assert told("source", body, "bench.pm2_5") is None, "the alarm's end is soon told"
    assert told("source", {**body, "clear": None}, "bench.pm2_5") is None
    assert told("source", {**body, "change": "began"}, "bench.pm2_5") is None
    assert "lear by" not in told("source", body, "bench.pm2_5", False, -(10**7)).body


@pytest.mark.parametrize(
    ("about", "words"),
    [("longest run", "has run very long"), ("quiet hours", "is kept off by quiet hours")],
)
def test_longest_runs_and_quiet_hours_are_told(about: str, words: str) -> None:
    body = {"from": "extracting", "to": "extracting", "on": True, "why": "so it is", "about": about}
    message = told("extractor", body)
    assert words in message.title
    assert "so it is" in message.body
    assert told("extractor", {**body, "about": "rested"}) is None


def test_a_fan_that_does_not_obey_is_told_with_high_priority() -> None:
    message = told("fan", {"change": "failed", "why": "it is switched on, and stands still"})
    assert message.priority == "high"
    assert "stands still" in message.body
    assert told("fan", {"change": "back", "why": ""}).stage == "end"


def test_an_alarm_says_that_recovery_cannot_be_told_while_something_emits() -> None:
    body = {"change": "raised", "quantity": "pm2_5", "clear": {**CLEAR, "emits": True}}
    message = told("alarm", body, "print")
    assert "Something emits; if it stopped now: clear by about 14:01" in message.body


def test_an_alarm_on_emission_says_how_much_comes_in() -> None:
    body = {
        "change": "raised", "quantity": "pm2_5", "compare": "emission", "unit": "µg/h",
        "value": 3400.0, "setpoint": 2000, "mean": 31.0, "over": 60_000, "channel": "bench.pm2_5",
    }  # fmt: skip
    message = told("alarm", body, "emitting")
    assert "PM2.5 3.4 mg/h" in message.title
    assert "puts about 3.4 mg/h of PM2.5 into the room's air" in message.body
    assert "Setpoint: emission of 2.0 mg/h." in message.body
