"""What people read: whole texts, so that a change of words is seen here."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.events import DIED, REBOOTED, SPOILT, STOPPED
from ventwright.notifying.messages import (
    Context,
    Message,
    compose,
    database_back,
    database_failing,
    keeper_down,
    store_back,
    store_failing,
)
from ventwright.notifying.words import fitted
from ventwright.storage.reader import StoredEvent

LIMITS = {"who-pm2_5-24h": "WHO 2021 guideline: 15 µg/m³ over 24 h"}


def clock_words(t: int) -> str:
    minutes = t // 60_000
    return f"{14 + minutes // 60}:{minutes % 60:02}"


CONTEXT = Context("Workshop", LIMITS, {"fan-relay": "window-fan"}, clock_words)
UNSETTLED = Context("Workshop", LIMITS, {})

ALARM: dict[str, Any] = {
    "change": "raised",
    "priority": "medium",
    "channel": "bench.pm2_5",
    "quantity": "pm2_5",
    "unit": "µg/m³",
    "compare": "rise",
    "over": 60_000,
    "value": 23.1,
    "mean": 27.4,
    "baseline": 4.3,
    "young": False,
    "rise": 23.1,
    "setpoint": 10.0,
    "since": 300_000,
    "peak": 23.1,
    "limit": "who-pm2_5-24h",
    "optical": True,
    "extractors": {"window-fan": "extracting"},
}


def told(kind: str, subject: str, context: Context = CONTEXT, **body: Any) -> Message:
    message = compose(StoredEvent(1, 1, 1_800_000, kind, subject, body), context)
    assert message is not None
    return message


def alarm(context: Context = CONTEXT, **changes: Any) -> Message:
    return told("alarm", "print", context, **{**ALARM, **changes})


def test_raised() -> None:
    assert alarm() == Message(
        "alarm print",
        "begin",
        "medium",
        "Workshop: particles rising (PM2.5 +23 µg/m³)",
        "PM2.5 at bench averaged 27.4 µg/m³ over 1 min, 23.1 above this room's baseline of 4.3."
        " Setpoint: rise of 10 µg/m³. Since 14:05. The extractor window-fan is running."
        " Best stay out. For comparison: WHO 2021 guideline: 15 µg/m³ over 24 h."
        " Low-cost optical sensors do not see ultrafine particles. Not a certified alarm.",
    )


def test_worse_is_the_same_alarm_and_says_so() -> None:
    message = alarm(change="worse", value=80.2)
    assert (message.key, message.stage) == ("alarm print", "worse")
    assert message.title == "Workshop: particles rising further (PM2.5 +80 µg/m³)"


def test_cleared_tells_peak_and_duration() -> None:
    message = alarm(change="cleared", peak=48.7, mean=5.0, rise=0.7)
    assert message.title == "Workshop: particles back to normal (peak PM2.5 +49 µg/m³)"
    assert message.unheard == "Workshop: particles went up (peak PM2.5 +49 µg/m³), over"
    assert message.body.startswith("It lasted from 14:05 to 14:30 (25 min). Peak: PM2.5 +49")


def test_an_alarm_that_latches_says_how_it_is_ended() -> None:
    unseen = alarm(change="cleared", state="latched, unacknowledged").body
    how = "ends it: `ventwright acknowledge print`, then `ventwright reset print`."
    assert f"The alarm stays until somebody {how}" in unseen
    seen = alarm(change="cleared", state="latched, acknowledged").body
    assert "ends it: `ventwright reset print`." in seen
    assert "somebody" not in alarm(change="cleared", state="normal").body


def test_cleared_tells_the_dose() -> None:
    over = " Dose above the baseline: 12 µg·h/m³. "
    assert over in alarm(change="cleared", dose=12.4).body
    assert (
        " Dose: 1.2 ppm·h. "
        in alarm(change="cleared", dose=1.23, compare="mean", quantity="co", unit="ppm").body
    )
    assert "Dose" not in alarm(change="cleared", dose=3.0, quantity="humidity", unit="%RH").body
    assert "Dose" not in alarm(change="cleared", dose=None).body


def test_a_rate() -> None:
    message = alarm(compare="rate", value=12.3, unit="µg/m³ per min")
    assert message.title == "Workshop: particles rising fast (PM2.5 +12 µg/m³ per min)"
    assert "PM2.5 at bench averaged 27.4 µg/m³ over 1 min" in message.body
    assert "Setpoint: rate of 10 µg/m³ per min." in message.body


FORECAST: dict[str, Any] = {
    "compare": "forecast",
    "over": 86_400_000,
    "setpoint": 15.0,
    "mean": 11.7,
    "value": 19.0,
    "reaches": 9_600_000,
}


def test_a_forecast_says_when_the_limit_is_reached() -> None:
    message = alarm(**FORECAST)
    assert message.title == "Workshop: PM2.5 24 h mean reaches 15 µg/m³ at 16:40"
    assert message.body.startswith(
        "The 24 h mean of PM2.5 at bench is 11.7 µg/m³. At this rate it reaches 15 µg/m³ at 16:40."
        " Setpoint: expected mean of 15 µg/m³."
    )
    assert "For comparison: WHO 2021 guideline: 15 µg/m³ over 24 h." in message.body
    over = alarm(**FORECAST, change="cleared")
    assert over.title == "Workshop: PM2.5 24 h mean no longer heads for 15 µg/m³"
    assert over.unheard == "Workshop: PM2.5 24 h mean headed for 15 µg/m³, is over"


def test_a_forecast_without_a_clock_or_a_time_or_with_the_limit_reached() -> None:
    assert alarm(UNSETTLED, **FORECAST).title.endswith("reaches 15 µg/m³ in 2 h 10 min")
    assert alarm(**{**FORECAST, "reaches": None}).title.endswith("reaches 15 µg/m³ soon")
    reached = alarm(**{**FORECAST, "reaches": 1_800_000})
    assert reached.title == "Workshop: PM2.5 24 h mean has reached 15 µg/m³"
    assert alarm(**FORECAST, change="worse").title.endswith("PM2.5 24 h mean heads for 19 µg/m³")


OFF: dict[str, Any] = {
    "compare": "departure",
    "over": 300_000,
    "value": 22.0,
    "peak": 31.0,
    "setpoint": 20.0,
    "unit": "%",
    "quantity": "voc_raw",
    "channel": "gas.voc_raw",
    "mean": 23_400.0,
    "baseline": 30_000.0,
    "rise": -6600.0,
    "optical": False,
}


def test_a_raw_signal_is_told_by_its_ratio_and_never_as_a_concentration() -> None:
    message = alarm(**OFF)
    assert message.title == "Workshop: raw VOC signal 22 % off clean air"
    assert message.body.startswith(
        "Raw VOC signal at gas averaged 23400 counts over 5 min, 0.78 of the 30000 of this room's"
        " clean air. Setpoint: 20 % off clean air."
    )
    assert "Something may be giving off gas: air the room." in message.body
    assert message.body.endswith(
        "A raw signal is no concentration: humidity, heat and the age of the part move it too."
        " Not a certified alarm."
    )
    over = alarm(**OFF, change="cleared")
    assert over.title == "Workshop: raw VOC signal near clean air again"
    assert " At worst: 31 % off clean air. " in over.body
    assert "Dose" not in over.body
    unknown = alarm(**{**OFF, "baseline": None, "value": None})
    assert "is not known yet." in unknown.body


@pytest.mark.parametrize("quantity", ["voc_raw", "nox_raw", "gas_resistance"])
@pytest.mark.parametrize("change", ["raised", "worse", "cleared"])
def test_titles_of_raw_signals_fit_a_lock_screen(quantity: str, change: str) -> None:
    message = alarm(**{**OFF, "quantity": quantity, "change": change, "value": 150.0})
    assert max(len(message.title), len(message.unheard)) < 60
    assert "%" in message.title or change == "cleared"


SILENCE = {"compare": "silence", "over": 1_800_000, "value": 30.0, "unit": "min", "setpoint": 30.0}


def test_a_silence() -> None:
    message = alarm(**SILENCE)
    assert message.title == "Workshop: PM2.5 at bench silent for 30 min"
    assert message.body.startswith(
        "PM2.5 at bench has given no good reading for 30 min: the air there is unknown."
        " Setpoint: silence of 30 min."
    )
    assert "Check the sensor and its cable." in message.body
    over = alarm(**SILENCE, change="cleared", peak=42.0)
    assert over.title == "Workshop: PM2.5 at bench is read again"
    assert "It was silent for 42 min." in over.body


def test_bad_habits_are_told_under_a_key_of_their_own() -> None:
    chattering = alarm(change="chattering", activations=5)
    assert (chattering.key, chattering.stage) == ("habit print", "begin")
    assert chattering.title == "Workshop: alarm print keeps coming and going"
    assert "raised 5 times within 1 h." in chattering.body
    standing = alarm(change="standing")
    assert standing.title == "Workshop: alarm print has stood for a day"
    assert "It has lasted from 14:05 to 14:30 (25 min)." in standing.body


@pytest.mark.parametrize("kind", [{}, {"compare": "mean"}, FORECAST, SILENCE])
@pytest.mark.parametrize("change", ["raised", "worse", "cleared"])
def test_titles_fit_a_lock_screen(kind: dict[str, Any], change: str) -> None:
    message = alarm(**{**kind, "change": change})
    assert max(len(message.title), len(message.unheard)) < 60


@given(st.text(max_size=80), st.text(min_size=1, max_size=70))
def test_what_is_too_long_loses_the_name_of_the_room_first(room: str, what: str) -> None:
    title = fitted(f"{room}: {what}")
    assert len(title) < 60
    if ": " not in room and len(what) < 57:
        assert title.endswith(f": {what}")


def test_no_time_of_day_while_the_clock_is_not_trusted() -> None:
    assert "14:" not in alarm(UNSETTLED).body
    assert "It lasted for 25 min." in alarm(UNSETTLED, change="cleared").body


def test_a_mean_compared_is_too_high_not_rising() -> None:
    message = alarm(compare="mean", value=27.4)
    assert message.title == "Workshop: particles too high (PM2.5 27 µg/m³)"
    assert "Setpoint: mean of 10 µg/m³." in message.body


def test_a_quantity_that_is_its_own_subject_is_named_once() -> None:
    message = alarm(quantity="co", unit="ppm", channel="door.co", value=34.0, optical=False)
    assert message.title == "Workshop: CO rising (+34 ppm)"
    assert "Leave the room and air it." in message.body
    assert "ultrafine" not in message.body


def test_no_baseline_yet() -> None:
    message = alarm(baseline=None, rise=None, compare="mean")
    assert "27.4 µg/m³ over 1 min; this room's baseline is not known yet." in message.body


def test_a_young_baseline_is_called_uncertain() -> None:
    assert "baseline of 4.3 (young, so uncertain)" in alarm(young=True).body


def test_below_the_baseline() -> None:
    assert "0.4 below this room's baseline" in alarm(change="cleared", rise=-0.4).body


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("standby", "is standing by"),
        ("run_on", "is running on"),
        ("held off", "is held off"),
        ("held_on", "is held on"),
        ("blind", "has no trustworthy data to decide on"),
    ],
)
def test_what_the_extractor_is_doing(state: str, words: str) -> None:
    assert f"The extractor window-fan {words}." in alarm(extractors={"window-fan": state}).body


def test_nothing_extracts() -> None:
    assert "No extractor is set up: air the room." in alarm(extractors={}).body


@pytest.mark.parametrize("change", ["acknowledged", "reset", "shelved", "unshelved"])
def test_what_the_owner_does_himself_is_not_told(change: str) -> None:
    assert compose(
        StoredEvent(1, 1, 0, "alarm", "print", {**ALARM, "change": change}), CONTEXT
    ) is (None)


@pytest.mark.parametrize("missing", sorted(ALARM.keys() - {"change"}))
@pytest.mark.parametrize("change", ["raised", "worse", "cleared", "chattering", "standing"])
@pytest.mark.parametrize("compare", ["rise", "rate", "forecast", "departure", "silence"])
def test_a_field_that_is_missing_or_null_breaks_no_message(
    missing: str, change: str, compare: str
) -> None:
    body = {**ALARM, "change": change, "reaches": 9_600_000, "compare": compare}
    body[missing] = None
    assert alarm(**body).title
    del body[missing]
    assert told("alarm", "print", CONTEXT, **body).title


def test_blind_and_seeing_again() -> None:
    blind = told("extractor", "window-fan", **{"from": "standby"}, to="blind", on=True, why="")
    assert (blind.key, blind.stage, blind.priority) == ("blind window-fan", "begin", "high")
    assert blind.title == "Workshop: no trustworthy data, window-fan is on"
    over = told("extractor", "window-fan", **{"from": "blind"}, to="standby", on=False)
    assert (over.key, over.stage) == (blind.key, "end")


def test_an_extractor_that_just_works_is_not_told() -> None:
    body = {"from": "standby", "to": "extracting", "on": True}
    assert compose(StoredEvent(1, 1, 0, "extractor", "window-fan", body), CONTEXT) is None


def test_part_lost_and_back() -> None:
    lost = told("part", "bench", change="lost", why="no answer")
    assert lost.title == "Workshop: part bench lost"
    assert "Reason: no answer." in lost.body
    assert told("part", "bench", change="back").unheard.endswith("was lost for a while, is back")


def test_part_failing_in_part_is_not_called_lost() -> None:
    failing = told("part", "bench", change="lost", why="laser failed", partly=True)
    assert failing.title == "Workshop: part bench fails in part"
    assert "Part bench gives some of its readings no longer." in failing.body
    assert "Reason: laser failed." in failing.body


def test_relay_failed_is_high_and_names_the_fan() -> None:
    failed = told("relay", "fan-relay", change="failed", why="port gone", commanded=True)
    assert failed.priority == "high"
    assert "Relay fan-relay (extractor window-fan) does not do what it is told; wanted: on." in (
        failed.body
    )
    assert told("relay", "fan-relay", change="back", commanded=False).stage == "end"


def test_store_failing_and_back_have_one_key_wherever_they_come_from() -> None:
    by_record = told("store", "store", change="failing", why="disk full")
    assert by_record == store_failing(CONTEXT, "disk full")
    assert store_back(CONTEXT, 3).key == by_record.key
    assert store_back(CONTEXT, 3).body == "3 readings were lost."


@pytest.mark.parametrize("missed", [None, 0, 59_000, 60_000])
def test_a_short_gap_is_not_told(missed: int | None) -> None:
    event = StoredEvent(1, 1, 0, "keeper", "keeper", {"change": "started", "missed": missed})
    assert compose(event, CONTEXT) is None


def test_started_after_a_long_gap() -> None:
    message = told("keeper", "keeper", change="started", missed=720_000, why="power cut")
    assert message.title == "Workshop: watching again after 12 min"
    assert "Reason: power cut." in message.body


@pytest.mark.parametrize(
    ("why", "missed", "title"),
    [
        (DIED, 4_000, "Workshop: watching again after 4 s"),
        (DIED, 0, "Workshop: watching again after 1 s"),
        (DIED, None, "Workshop: watching again after an unknown time"),
        (SPOILT, 4_000, "Workshop: watching again after 4 s"),
        (REBOOTED, None, "Workshop: watching again after an unknown time"),
        (REBOOTED, 50_000, None),
        (STOPPED, 50_000, None),
        (STOPPED, 720_000, None),
        (STOPPED, None, None),
        ("first start", None, None),
    ],
)
def test_a_death_is_told_whatever_the_gap_and_an_orderly_stop_never(
    why: str, missed: int | None, title: str | None
) -> None:
    body = {"change": "started", "missed": missed, "why": why}
    found = compose(StoredEvent(1, 1, 0, "keeper", "keeper", body), CONTEXT)
    assert (found and found.title) == title


def test_unknown_kinds_are_not_told() -> None:
    assert compose(StoredEvent(1, 1, 0, "request", "x", {}), CONTEXT) is None
    assert compose(StoredEvent(1, 1, 0, "news of tomorrow", "x", {}), CONTEXT) is None


def test_database() -> None:
    since = 300_000
    assert "not answered since 14:05. Readings are kept" in (
        database_failing(CONTEXT, since, 1_200_000).body
    )
    assert "not answered for 15 min." in database_failing(UNSETTLED, since, 1_200_000).body
    assert "from 14:05 to 14:20 (15 min)" in database_back(CONTEXT, since, 1_200_000).body


def test_keeper_down_says_what_to_do() -> None:
    assert keeper_down(CONTEXT, 190_000).body.endswith("Look at the machine.")


def test_two_parts_that_disagree_are_told_once_each_way() -> None:
    body = {
        "channels": ["bench.pm2_5", "shelf.pm2_5"],
        "means": [4.0, 31.26],
        "unit": "µg/m³",
        "counts": "shelf.pm2_5",
    }
    begin = told("same air", "dust", change="disagree", **body)
    assert begin.title == "Workshop: bench and shelf disagree"
    assert "bench.pm2_5 4.0 µg/m³, shelf.pm2_5 31.3 µg/m³" in begin.body
    assert "the higher one counts: shelf.pm2_5" in begin.body
    end = told("same air", "dust", change="agree", **body)
    assert (end.key, end.stage) == (begin.key, "end")
    assert told("same air", "dust", change="disagree").title


def test_a_mean_that_looks_ahead_does_not_call_too_high_what_is_below_its_setpoint() -> None:
    below = {"compare": "mean", "value": 12.4, "mean": 12.4, "setpoint": 15.0, "expected": 19.0}
    message = alarm(**{**ALARM, **below, "reaches": 1_920_000})
    assert message.title == "Workshop: particles rising (PM2.5 12 µg/m³)"
    assert "It rises: the setpoint, a mean of 15 µg/m³, is 2 min away." in message.body
    assert "too high" in alarm(**{**ALARM, **below, "reaches": None}).title


def test_the_peak_of_a_forecast_is_no_mean_that_was() -> None:
    over = alarm(**{**FORECAST, "change": "cleared", "peak": 33.0})
    assert "Highest that it was expected to be: 33 µg/m³." in over.body
    assert over.unheard == "Workshop: PM2.5 24 h mean headed for 15 µg/m³, is over"


def test_the_end_of_an_emission_does_not_say_that_something_emits() -> None:
    body = alarm(compare="emission", unit="µg/h", change="cleared", value=0.0).body
    assert "Something puts" not in body
    assert "PM2.5 at bench: it averaged 27.4 µg/m³ over 1 min." in body


def test_where_nothing_extracts_no_extractor_is_spoken_of() -> None:
    assert "safe state" in keeper_down(CONTEXT, 60_000).body
    assert "extractor" not in keeper_down(UNSETTLED, 60_000).body
