"""Extractors in the core: longest run, quiet hours, tachometers, and what always holds."""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from rooms import measured, records, switches
from ventwright.events import Action, LocalTime, Measured, RelayReport, Request, Started, Trouble
from ventwright.extraction.extractor import State
from ventwright.keeper.core import Core
from ventwright.settings.model import PartEntry, Settings
from ventwright_drivers.part import Sample

SECOND, MINUTE, HOUR = 1000, 60_000, 3_600_000
DAY = 24 * HOUR


class Days:
    """A core that is fed every 5 s, and all that it has done."""

    def __init__(self, **changes: Any) -> None:
        rules = rooms.room(
            extractors={"hood": rooms.extractor(minimum_on=0, minimum_off=0, **changes)},
            alarms={
                "print": rooms.alarm(priority="medium"),
                "danger": rooms.alarm(setpoint=200, priority="high"),
            },
        )
        self.core = Core(rules, dict.fromkeys(rules.parts, rooms.KIND), 0)
        self.t, self.done = 0, list[Action]()
        self.take(Started(1, "bench"))
        self.show(2, 2 * MINUTE)

    def take(self, event: Any) -> list[Action]:
        done = self.core.handle(event)
        self.done += done
        return done

    def show(self, value: float, ms: int) -> list[Action]:
        done: list[Action] = []
        for n in range(ms // 2000):
            self.t += 2000
            done += self.take(measured(self.t, value + n % 2 / 10))
        return done

    @property
    def fan(self) -> Any:
        return self.core.extractors["hood"]


def about(done: list[Action]) -> list[str]:
    return [r.body["about"] for r in records(done, "extractor") if r.body["about"]]


def test_a_longest_run_is_told_once_and_goes_on() -> None:
    days = Days(longest_run=HOUR)
    done = days.show(50, 3 * HOUR)
    assert about(done) == ["longest run"]
    told = next(r for r in records(done, "extractor") if r.body["about"])
    assert told.t - switches(done)[0].t == HOUR
    assert told.body["why"].endswith("its longest run, and goes on")
    assert days.fan.on


def test_after_its_longest_run_it_rests_as_its_owner_chose_and_starts_again() -> None:
    days = Days(longest_run=HOUR, after_longest_run="rest", rest=10 * MINUTE)
    done = days.show(50, 2 * HOUR + 30 * MINUTE)
    times = [(s.t - switches(done)[0].t, s.on) for s in switches(done)]
    assert times[:3] == [(0, True), (HOUR, False), (HOUR + 10 * MINUTE, True)]
    assert about(done) == ["longest run", "rested", "longest run", "rested"]
    assert days.fan.state is State.EXTRACTING


def test_a_rest_survives_a_restart_and_a_hold_by_hand_ends_it() -> None:
    days = Days(longest_run=HOUR, after_longest_run="rest", rest=30 * MINUTE)
    days.show(50, HOUR + 5 * MINUTE)
    assert not days.fan.on
    saved = json.loads(json.dumps(days.core.save()))
    again = Core(days.core.settings, {"bench": rooms.KIND}, days.t)
    again.restore(saved, same_boot=True)
    assert again.extractors["hood"].rests_until == days.fan.rests_until
    days.take(Request(days.t, "ada", "hold", {"name": "hood", "on": True, "for": HOUR}))
    assert days.fan.on


def quiet(local: int | None, **changes: Any) -> Days:
    days = Days(quiet_hours="22:00-07:00", **changes)
    days.take(LocalTime(days.t, local))
    return days


def test_quiet_hours_keep_it_off_until_they_end_and_say_so_once() -> None:
    days = quiet(6 * HOUR)
    done = days.show(50, 40 * MINUTE)
    assert switches(done) == []
    assert about(done) == ["quiet hours"]
    body = next(r for r in records(done, "alarm") if r.body["change"] == "raised").body
    assert body["extractors"] == {"hood": "quiet hours"}
    done = days.show(50, 30 * MINUTE)
    assert [s.on for s in switches(done)] == [True]
    assert (switches(done)[0].t + 6 * HOUR) % DAY >= 7 * HOUR


def test_a_high_priority_overrides_quiet_hours() -> None:
    days = quiet(0)
    assert [s.on for s in switches(days.show(400, 5 * MINUTE))] == [True]


def test_what_runs_when_quiet_hours_begin_may_finish() -> None:
    days = quiet(22 * HOUR - 10 * MINUTE)
    assert [s.on for s in switches(days.show(50, 30 * MINUTE))] == [True]


def test_no_quiet_hours_while_the_clock_is_not_known_to_be_right() -> None:
    days = quiet(None)
    assert [s.on for s in switches(days.show(50, 5 * MINUTE))] == [True]
    assert records(days.done, "clock")[0].body == {"local": None}


def test_blindness_does_what_was_chosen_at_any_hour() -> None:
    days = quiet(0)
    days.core.advance(days.t + HOUR)
    assert days.fan.state is State.BLIND
    assert days.fan.on


TACHO = rooms.KIND._replace(model="tacho-gpio", quantities=("fan_speed",), optical=False)


def turning(speed: float, on: bool) -> list[dict[str, Any]]:
    rules = rooms.room(extractors={"hood": rooms.extractor(turns="tacho.fan_speed")})
    entry = PartEntry("tacho-gpio", "", None, ("fan_speed",))
    rules = Settings(**{**vars(rules), "parts": {**rules.parts, "tacho": entry}})
    core, done = Core(rules, {"bench": rooms.KIND, "tacho": TACHO}, 0), list[Action]()
    for part in ("bench", "tacho"):
        core.handle(Started(0, part))
    if on:
        done += core.handle(Request(1, "a", "hold", {"name": "hood", "on": True, "for": HOUR}))
    for n in range(1, 240):
        shown = speed if n < 200 else (900.0 if on else 0.0)
        done += core.handle(measured(n * 1000, 2 + n % 2 / 10))
        done += core.handle(Measured(n * 1000 + 5, "tacho", Sample((shown + n % 3,))))
    return [record.body for record in records(done, "fan")]


def test_a_fan_that_stands_still_though_it_is_on_is_told_once_and_once_when_it_turns() -> None:
    told = turning(0.0, on=True)
    assert [body["change"] for body in told] == ["failed", "back"]
    assert told[0]["why"] == "it is switched on, and stands still"


def test_a_fan_that_turns_though_it_is_off_is_told() -> None:
    told = turning(1200.0, on=False)
    assert [body["change"] for body in told] == ["failed", "back"]
    assert told[0]["why"].startswith("it is switched off, and turns at 120")


def test_a_fan_that_does_what_it_is_told_is_no_news() -> None:
    assert turning(900.0, on=True) == []
    assert turning(0.0, on=False) == []


TIMES = {"minimum_on": 3 * MINUTE, "minimum_off": MINUTE, "run_on": 90 * SECOND}
LONG = {"longest_run": 5 * MINUTE, "after_longest_run": "rest", "rest": 2 * MINUTE}
verbs = st.sampled_from(["hold", "release", "acknowledge", "shelve"])
words = st.fixed_dictionaries(
    {
        "name": st.sampled_from(["hood", "print"]),
        "on": st.booleans(),
        "for": st.integers(1, 10 * MINUTE),
        "ceiling": st.sampled_from([None, {"channel": "bench.pm2_5", "value": 30}]),
    }
)
happenings = st.one_of(
    st.tuples(st.just("air"), st.sampled_from([1.0, 8.0, 40.0, 400.0, None]), st.integers(1, 200)),
    st.tuples(st.just("air"), st.sampled_from([1.0, 40.0]), st.integers(1, 200)),
    st.tuples(st.just("silence"), st.integers(1, 10 * MINUTE)),
    st.tuples(st.just("ask"), verbs, words),
    st.tuples(st.just("event"), st.sampled_from(["trouble", "started", "relay", "night", "day"])),
    st.tuples(st.just("restart"), st.booleans()),
)


class Story:
    """A core through all that may happen; switches and blindness are held to the promises."""

    def __init__(self) -> None:
        extractor = rooms.extractor(quiet_hours="22:00-07:00", **TIMES, **LONG)
        self.rules = rooms.room(extractors={"hood": extractor})
        self.core = Core(self.rules, {"bench": rooms.KIND}, 0)
        self.core.handle(Started(0, "bench"))
        self.t, self.last, self.good = 0, (0, False), 0

    def live(self, story: list[Any]) -> None:
        for kind, *said in story:
            getattr(self, f"_{kind}")(*said)

    def check(self, actions: list[Action]) -> None:
        for switch in switches(actions):
            before, on = self.last
            assert switch.t - before >= TIMES["minimum_on" if on else "minimum_off"]
            assert switch.on is not on
            self.last = (switch.t, switch.on)
        fan = self.core.extractors["hood"]
        trusted = self.core.channels["bench.pm2_5"].trusted
        silent = self.core.now - max(trusted, self.good)
        if fan.hold is None and silent >= fan.settings.blind_after + 2 * SECOND:
            assert fan.state is State.BLIND

    def _air(self, value: float | None, count: int) -> None:
        for n in range(count):
            self.t += 1000
            shown = None if value is None else value + n % 2 / 10
            self.check(self.core.handle(measured(self.t, shown)))

    def _silence(self, ms: int) -> None:
        for _ in range(ms // 1000 + 1):
            self.t += 1000
            self.check(self.core.advance(self.t))

    def _ask(self, verb: str, said: Any) -> None:
        self.check(self.core.handle(Request(self.t + 1, "ada", verb, said)))

    def _event(self, kind: str) -> None:
        made = {
            "trouble": Trouble(self.t, "bench", "unplugged"),
            "started": Started(self.t, "bench"),
            "relay": RelayReport(self.t, "board", True, False),
            "night": LocalTime(self.t, 23 * HOUR),
            "day": LocalTime(self.t, 12 * HOUR),
        }
        self.check(self.core.handle(made[kind]))

    def _restart(self, same_boot: bool) -> None:
        """Die: the relay goes to its safe state, off, and the next keeper takes over."""
        saved = json.loads(json.dumps(self.core.save()))
        now = self.core.now + 1
        if self.last[1]:
            self.last = (now, False)
        self.core = Core(self.rules, {"bench": rooms.KIND}, now)
        self.core.restore(saved, same_boot)
        self.good = now
        assert not self.core.extractors["hood"].on


@settings(max_examples=25, deadline=None)
@given(st.lists(happenings, max_size=10))
def test_whatever_happens_minimum_times_hold_and_blindness_comes_in_time(story: Any) -> None:
    Story().live(story)


@pytest.mark.parametrize("change", ["minimum", "blind"])
def test_the_property_can_fail(change: str) -> None:
    lived = Story()
    if change == "minimum":
        lived.last = (10**9, False)
    else:
        lived.core._fresh = lambda: lived.core.now  # type: ignore[method-assign]
    story = [("air", 40.0, 200), ("air", 1.0, 120), ("air", 40.0, 100), ("silence", 10 * MINUTE)]
    with pytest.raises(AssertionError):
        lived.live(story)
