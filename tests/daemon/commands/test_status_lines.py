"""`ventwright status`: nothing is said of a relay or of the air that is not known."""

import pytest

from ventwright.commands.sources import source_lines
from ventwright.commands.status import CAUTION, _store_line, caution, lines

EXTRACTOR = {
    "state": "extracting",
    "on": True,
    "waiting for a minimum time": False,
    "since": 0,
    "relay": "board",
    "held by": None,
}
ALARM = {
    "state": "normal",
    "compare": "rise",
    "channel": "bench.pm2_5",
    "over (s)": 60,
    "unit": "µg/m³",
    "value": 1.0,
    "setpoint": 9.0,
    "since": None,
}


def told(failing: str = "", on: bool = True, waiting: bool = False, **more: object) -> str:
    status = {
        "room": "workshop",
        "now": 60_000,
        "offset": 1_700_000_000_000,
        "clock is right": True,
        "parts": {},
        "alarms": {"fast": ALARM},
        "extractors": {
            "fan": {**EXTRACTOR, "on": on, "waiting for a minimum time": waiting, **more}
        },
        "relays": {"board": {"failing": failing}},
        "store": {"failing": ""},
    }
    return "\n".join(lines(status))


def test_a_relay_that_does_not_answer_is_not_said_to_be_on() -> None:
    assert "extracting, relay on, since" in told()
    text = told(failing="unplugged")
    assert "relay on" not in text
    assert "relay commanded on, does not answer" in text


def test_a_minimum_time_that_holds_the_relay_back_is_told() -> None:
    text = told(on=False, waiting=True)
    assert "extracting, relay off (waiting for its minimum time), since" in text


def test_a_damaged_store_that_was_set_aside_is_named() -> None:
    store = {"failing": "", "set aside": ["/store/readings.damaged-2026-11-25.sqlite"]}
    assert _store_line(store) == (
        "store: storing; a damaged one was set aside: /store/readings.damaged-2026-11-25.sqlite"
    )
    assert "aside" not in _store_line({"failing": "", "set aside": []})


def test_a_setpoint_has_its_unit() -> None:
    assert "setpoint 9 µg/m³" in told()


@pytest.mark.parametrize(("hours", "said"), [(0, CAUTION), (None, "")])
def test_what_optical_parts_do_not_see_is_told(hours: int | None, said: str) -> None:
    assert caution({"parts": {"bench": {"laser on (h)": hours}}}) == said


def test_what_an_extractor_was_commissioned_for_stands_under_it() -> None:
    found = {
        "channel": "bench.pm2_5",
        "volume": 40.0,
        "natural": 0.9,
        "natural_error": 0.03,
        "clearance": 5.4,
        "clearance_error": 0.4,
        "t": 0,
    }
    assert "commissioned" not in told()
    said = (
        "  commissioned on 14 November 2023 on bench.pm2_5: 5.40/h with it, 0.90/h without; "
        "it clears 180 m³/h (give or take 26)"
    )
    assert said in told(commissioned=found).split("\n")


@pytest.mark.parametrize(("measured", "guessed"), [(True, False), (False, True)])
def test_what_a_room_that_nobody_measured_tells_of_its_source_is_called_a_guess(
    measured: bool, guessed: bool
) -> None:
    source = {
        "emitting": False,
        "emission": 0.0,
        "began": 0,
        "ended": 60_000,
        "total": 5000.0,
        "total_sigma": 900.0,
        "total_unit": "µg",
        "measured": measured,
        "clear": None,
    }
    text = "\n".join(source_lines("bench.pm2_5", source, 120_000, 0))
    assert "put in 5000 µg (give or take 1480)" in text
    assert ("the room is not commissioned" in text) is guessed
