"""Rate, forecast and silence against plain arithmetic, and what missing data does to them."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rooms
from ventwright.alarms.alarm import Alarm
from ventwright.alarms.comparing import longest_window
from ventwright.means.channel import Channel
from ventwright_drivers.quantities import QUANTITIES

SECOND, MINUTE, HOUR = 1000, 60_000, 3_600_000


class Bench:
    """An alarm without delays on a channel of one reading a second."""

    def __init__(self, compare: str, **changes: Any) -> None:
        quick = {"on_delay": 0, "off_delay": 0, "deadband": 0, **changes}
        self.channel = Channel("bench.pm2_5", QUANTITIES["pm2_5"], SECOND)
        self.alarm = Alarm("a", rooms.alarm(compare=compare, **quick), self.channel)
        self.t = 0

    def show(self, value: float | None, wait: int = SECOND) -> list[str]:
        self.t += wait
        if value is not None:
            self.channel.add(self.t, round(value * 10))
        return self.alarm.evaluate(self.t)

    def restarted(self) -> None:
        saved = json.loads(json.dumps(self.alarm.save()))
        self.alarm = Alarm("a", self.alarm.settings, self.channel)
        self.alarm.restore(saved, 0)


@pytest.mark.parametrize("slope", [-6.0, 0.0, 6.0, 60.0])
def test_the_rate_of_an_even_change_is_its_slope_per_minute(slope: float) -> None:
    bench = Bench("rate", over=10 * SECOND, setpoint=100)
    for n in range(60):
        bench.show(500 + slope * n / 60)
    assert bench.alarm.value == pytest.approx(slope, abs=0.02)
    assert bench.alarm.unit == "µg/m³ per min"


def test_a_rate_needs_both_windows_and_its_alarm_is_not_cleared_without() -> None:
    bench = Bench("rate", over=10 * SECOND, setpoint=30)
    for n in range(16):
        assert bench.show(n) == []
    assert bench.alarm.value is None
    assert any(bench.show(20 + n) == ["raised"] for n in range(16))
    for _ in range(23):
        assert bench.show(None, HOUR) == []
    assert bench.alarm.condition.active
    assert longest_window(bench.alarm.settings) == 20 * SECOND


def forecast(**changes: Any) -> Bench:
    return Bench("forecast", over=4 * HOUR, setpoint=15, coverage=0.5, **changes)


def hold(bench: Bench, value: float, minutes: int) -> list[str]:
    return [change for _ in range(minutes * 60) for change in bench.show(value)]


def test_a_forecast_says_when_the_limit_is_reached() -> None:
    bench = forecast()
    assert hold(bench, 5, 240) == []
    assert hold(bench, 45, 40) == ["raised"]
    # 40 min at 45 and the rest at 5: 11.67 now; each further minute adds 40/240.
    look = bench.alarm.look
    assert look.mean == pytest.approx(5 + 40 * 40 / 240)
    assert look.value == pytest.approx(5 + 100 * 40 / 240)
    assert look.reaches == pytest.approx(bench.t + 20 * MINUTE, abs=2 * SECOND)


def test_what_leaves_the_window_counts_so_an_even_background_forecasts_itself() -> None:
    bench = forecast()
    hold(bench, 14, 300)
    assert bench.alarm.value == pytest.approx(14)
    assert bench.alarm.look.reaches is None


def test_a_forecast_stays_while_the_mean_itself_is_over() -> None:
    bench = forecast()
    hold(bench, 30, 240)
    assert hold(bench, 0, 100) == []
    assert bench.alarm.look.reaches == bench.t
    assert hold(bench, 0, 30) == ["cleared"]


def test_missing_data_clears_no_forecast() -> None:
    bench = forecast()
    hold(bench, 30, 240)
    assert [bench.show(None, HOUR) for _ in range(9)] == [[]] * 9
    assert bench.alarm.condition.active


@pytest.mark.parametrize(
    ("quantity", "clean", "dirty", "off"),
    [("voc_raw", 30_000, 24_000, 20), ("nox_raw", 18_000, 22_500, 25), ("voc_raw", 30_000, 0, 100)],
)
def test_a_departure_is_the_share_that_a_raw_signal_is_off_clean_air(
    quantity: str, clean: int, dirty: int, off: float
) -> None:
    channel = Channel(f"gas.{quantity}", QUANTITIES[quantity], SECOND)
    quick = {"on_delay": 0, "off_delay": 0, "deadband": 5, "setpoint": 15, "over": 10 * SECOND}
    alarm = Alarm("a", rooms.alarm(channel.name, compare="departure", **quick), channel)
    changes: list[str] = []
    for n in range(3600):
        step = dirty if 3000 <= n < 3060 else clean
        channel.add(n * SECOND, step)
        changes += alarm.evaluate(n * SECOND)
        if n == 3059:
            assert alarm.value == pytest.approx(off, abs=0.2)
    assert (changes, alarm.unit, alarm.dose) == (["raised", "cleared"], "%", None)


def test_cleaner_air_than_known_is_no_departure_and_without_a_baseline_there_is_none() -> None:
    channel = Channel("gas.voc_raw", QUANTITIES["voc_raw"], SECOND)
    settings = rooms.alarm(channel.name, compare="departure", over=10 * SECOND, setpoint=20)
    alarm = Alarm("a", settings, channel)
    channel.add(0, 30_000)
    assert alarm.evaluate(0) == []
    assert alarm.value is None
    for n in range(1, 1800):
        channel.add(n * SECOND, 30_000 if n < 1780 else 33_000)
        alarm.evaluate(n * SECOND)
    assert alarm.value is not None
    assert -11 < alarm.value < 0


def silence(**changes: Any) -> Bench:
    return Bench("silence", over=MINUTE, setpoint=1.0, **changes)


def test_a_silence_is_raised_when_it_has_lasted_and_cleared_by_data() -> None:
    bench = silence()
    for _ in range(10):
        bench.show(3)
    assert bench.show(None, MINUTE - 1) == []
    assert bench.show(None, 1) == ["raised"]
    assert bench.alarm.unit == "min"
    assert bench.show(None, 10 * HOUR) == []
    assert bench.show(3) == ["cleared"]
    assert bench.alarm.peak == pytest.approx(601)


def test_a_silence_counts_from_the_first_look_where_nothing_was_heard_before() -> None:
    bench = silence()
    assert bench.show(None, HOUR) == []
    assert bench.show(None, MINUTE) == ["raised"]


def test_a_restart_neither_clears_nor_raises_a_silence() -> None:
    bench = silence()
    bench.show(3)
    bench.show(None, 2 * MINUTE)
    bench.restarted()
    assert bench.show(None) == []
    assert bench.alarm.condition.active
    assert bench.show(3) == ["cleared"]
    bench.restarted()
    assert bench.show(None, HOUR) == []
    assert bench.show(None, MINUTE) == ["raised"]


def test_a_silence_does_not_get_worse_by_going_on() -> None:
    bench = silence()
    bench.show(3)
    told = [change for _ in range(500) for change in bench.show(None, MINUTE)]
    assert told == ["raised"]


readings = st.lists(
    st.tuples(st.integers(1, 90), st.one_of(st.none(), st.floats(0, 60))), max_size=40
)


@given(readings, st.sampled_from(["mean", "rate", "forecast", "silence"]))
def test_only_good_readings_clear_anything(steps: list[Any], compare: str) -> None:
    bench = Bench(compare, over=MINUTE, setpoint=1.0, coverage=0.1)
    for wait, value in steps:
        changes = bench.show(value, wait * SECOND)
        assert "cleared" not in changes or bench.channel.speaks(bench.t)


@given(readings)
def test_a_missing_reading_clears_nothing_but_old_ones_may_leave_the_window(
    steps: list[Any],
) -> None:
    """A mean that is known again clears; one that is not never does."""
    bench = Bench("mean", over=MINUTE, setpoint=10, coverage=0.5)
    for wait, value in steps:
        changes = bench.show(value, wait * SECOND)
        assert "cleared" not in changes or bench.alarm.value is not None


def ahead(minutes: int = 2, **changes: Any) -> Bench:
    given = {"over": 30 * SECOND, "setpoint": 20, "ahead": minutes * MINUTE, **changes}
    return Bench("mean", **given)


def test_looking_ahead_raises_as_many_minutes_earlier() -> None:
    """A rise of 3 units a minute reaches 20 after 400 s; its mean 15 s later."""
    raised = {}
    for minutes in (0, 1, 2):
        bench = ahead(minutes)
        hold(bench, 0, 3)
        start = bench.t
        while "raised" not in bench.show((bench.t + SECOND - start) / MINUTE * 3):
            pass
        raised[minutes] = (bench.t - start) / SECOND
    assert raised[0] == pytest.approx(415, abs=3)
    assert raised[1] == pytest.approx(415 - 60, abs=3)
    assert raised[2] == pytest.approx(415 - 120, abs=3)


def test_it_says_what_is_seen_and_when_the_setpoint_is_reached() -> None:
    bench = ahead()
    hold(bench, 0, 3)
    start = bench.t
    while "raised" not in bench.show((bench.t + SECOND - start) / MINUTE * 3):
        pass
    look = bench.alarm.look
    assert look.value == look.mean == pytest.approx(14, abs=0.1)
    assert look.expected == pytest.approx(20, abs=0.1)
    assert look.reaches == pytest.approx(bench.t + 120 * SECOND, abs=3 * SECOND)
    assert longest_window(bench.alarm.settings) == 90 * SECOND


def test_a_fall_and_a_steady_level_are_what_they_are() -> None:
    bench = ahead()
    hold(bench, 19, 4)
    assert bench.alarm.look.expected == pytest.approx(19)
    assert bench.alarm.look.reaches is None
    hold(bench, 5, 1)
    assert bench.alarm.look.expected == pytest.approx(5)


def test_without_the_minute_before_it_does_not_look_ahead() -> None:
    bench = ahead()
    for n in range(60):
        bench.show(n / 10)
        assert bench.alarm.look.expected == bench.alarm.look.value
    bench.show(None, HOUR)
    assert bench.alarm.look.expected is None


def test_a_single_wild_reading_does_not_outlast_the_delay_of_its_window() -> None:
    bench = ahead(on_delay=30 * SECOND)
    hold(bench, 5, 4)
    assert bench.show(500) == []
    assert hold(bench, 5, 4) == []
