"""The core: the same events give the same decisions, and what each fault does to them."""

import json
from typing import Any

import pytest

import rooms
from rooms import changes, measured, records, switches
from ventwright.events import Action, RelayReport, Request, Started, StoreReport, Trouble
from ventwright.extraction.extractor import State
from ventwright.keeper.core import Core
from ventwright.keeper.watch import LOST_AFTER_MS
from ventwright_drivers.part import Sample

MINUTE, HOUR = 60_000, 3_600_000


class Live:
    """A core that is fed once a second, and all that it has done."""

    def __init__(self, core: Core | None = None) -> None:
        self.core = core or rooms.core()
        self.t = self.core.now
        self.done: list[Action] = []
        for part in self.core.parts:
            self.take(Started(self.t, part))

    def take(self, event: Any) -> list[Action]:
        done = self.core.handle(event)
        self.done += done
        return done

    def show(self, value: float | None, seconds: int = 1, *parts: str) -> list[Action]:
        done: list[Action] = []
        for n in range(seconds):
            self.t += 1000
            for part in parts or self.core.parts:
                wobble = value if value is None else value + n % 2 / 10
                done += self.take(measured(self.t, wobble, part))
        return done

    def wait(self, ms: int) -> list[Action]:
        self.t += ms
        done = self.core.advance(self.t)
        self.done += done
        return done

    def ask(self, verb: str, **words: Any) -> dict[str, Any]:
        done = self.take(Request(self.t, "ada", verb, words))
        answer: dict[str, Any] = records(done, "request")[0].body["answer"]
        return answer

    @property
    def fan(self) -> Any:
        return self.core.extractors["hood"]


def running() -> Live:
    """Past the warm-up and the minimum off time."""
    live = Live()
    live.show(2, 70)
    return live


def test_an_alarm_is_raised_after_its_delay_and_the_relay_switched_in_the_same_breath() -> None:
    live = running()
    done = live.show(50, 15)
    assert changes(done, "alarm") == ["raised"]
    assert [s.on for s in switches(done)] == [True]
    assert switches(done)[0].t == records(done, "alarm")[0].t
    body = records(done, "alarm")[0].body
    assert (body["unit"], body["over"], body["extractors"]) == (
        "µg/m³",
        10_000,
        {"hood": "extracting"},
    )
    assert json.loads(json.dumps(body)) == body


def test_the_whole_story_of_a_print() -> None:
    live = running()
    live.show(50, 60)
    assert live.ask("acknowledge", name="print")["done"]
    live.show(2, 20 * 60)
    assert changes(live.done, "alarm") == ["raised", "acknowledged", "cleared"]
    assert [s.on for s in switches(live.done)] == [True, False]
    states = [record.body["to"] for record in records(live.done, "extractor")]
    assert states == ["extracting", "run-on", "standby"]


def test_missing_data_clears_nothing_and_ends_in_blind() -> None:
    live = running()
    live.show(50, 20)
    done = live.wait(HOUR)
    assert changes(done, "alarm") == []
    assert live.core.alarms["print"].condition.active
    assert live.fan.state is State.BLIND
    blind = records(done, "extractor")[0]
    last = live.core.channels["bench.pm2_5"].history.last
    assert blind.t == (last or 0) + live.fan.settings.blind_after


@pytest.mark.parametrize("kind", ["warming up", "failed", "stuck", "no values", "out of range"])
def test_untrustworthy_readings_are_no_data(kind: str) -> None:
    live = running()
    for n in range(20 * 60):
        live.t += 1000
        value = {"no values": None, "out of range": 9000.0 + n % 2}.get(kind, 3.0)
        if kind == "warming up":
            live.take(Started(live.t - 1, "bench"))
        live.take(measured(live.t, value, fault="fan" if kind == "failed" else ""))
    assert live.fan.state is State.BLIND


@pytest.mark.parametrize(
    ("value", "fault", "why"),
    [
        (3.0, "", "it repeats the same values"),
        (None, "", "it gives no values"),
        (9000.0, "", "its values are out of range"),
        (3.0, "fan error", "fan error"),
    ],
)
def test_a_part_that_gives_nothing_usable_is_told_once_and_once_when_it_is_back(
    value: float | None, fault: str, why: str
) -> None:
    live = running()
    for _ in range(15 * 60):
        live.t += 1000
        live.take(measured(live.t, value, fault=fault))
    assert changes(live.done, "part") == ["lost"]
    assert records(live.done, "part")[0].body["why"] == why
    live.show(2, 3)
    assert changes(live.done, "part") == ["lost", "back"]


def test_a_part_in_trouble_is_told_once_and_once_when_it_is_back() -> None:
    live = running()
    first = live.t + 1
    for n in range(100):
        live.take(Trouble(live.t + 1, "bench", f"unplugged {n}"))
        live.wait(1000)
    lost = records(live.done, "part")
    assert [record.body["change"] for record in lost] == ["lost"]
    assert first + LOST_AFTER_MS <= lost[0].t <= first + LOST_AFTER_MS + 1000
    live.take(Started(live.t, "bench"))
    live.show(2, 5)
    assert changes(live.done, "part") == ["lost", "back"]


def test_a_part_of_which_nothing_is_heard_is_lost_too() -> None:
    live = running()
    done = live.wait(rooms.KIND.silence + LOST_AFTER_MS + 1000)
    assert [r.body["why"] for r in records(done, "part")] == ["nothing is heard of it"]
    assert changes(live.wait(HOUR), "part") == []
    assert changes(live.show(2, 2), "part") == ["back"]


def test_a_short_trouble_is_not_worth_a_word() -> None:
    live = running()
    for _ in range(50):
        live.take(Trouble(live.t, "bench", "a garbled frame"))
        live.show(2, 9)
    assert changes(live.done, "part") == []


@pytest.mark.parametrize("values", [(1.0,), (1.0, 2.0, 3.0, 4.0), ("x", 1, 2), 7])
def test_a_driver_that_gives_nonsense_costs_its_own_part_only(values: Any) -> None:
    live = Live(rooms.core(rooms.room(parts=("bench", "door"))))
    for _ in range(30):
        live.show(2, 1, "door")
        live.take(measured(live.t, 2)._replace(sample=Sample(values)))
    assert [(r.subject, r.body["change"]) for r in records(live.done, "part")] == [
        ("bench", "lost")
    ]
    assert live.core.channels["door.pm2_5"].last_value is not None


def test_losing_one_of_two_parts_leaves_the_other_deciding() -> None:
    alarms = {"print": rooms.alarm("bench.pm2_5"), "far": rooms.alarm("door.pm2_5")}
    live = Live(rooms.core(rooms.room(parts=("bench", "door"), alarms=alarms)))
    live.show(2, 70)
    live.show(2, 300, "door")
    assert live.fan.state is State.STANDBY
    assert [r.subject for r in records(live.done, "part")] == ["bench"]
    live.show(50, 20, "door")
    assert live.fan.state is State.EXTRACTING


def relay_report(t: int, state: bool | None, why: str = "") -> RelayReport:
    return RelayReport(t, "board", True, state, why)


def test_a_relay_that_fails_is_told_once_and_once_when_it_is_back() -> None:
    live = running()
    reports = [(True, ""), (None, "gone"), (None, "still gone"), (True, ""), (None, "")]
    for state, why in reports:
        live.take(relay_report(live.t, state, why))
    told = records(live.done, "relay")
    assert [r.body["change"] for r in told] == ["failed", "back"]
    assert told[0].body["why"] == "gone"


def test_a_relay_that_reads_back_otherwise_has_failed() -> None:
    done = running().take(relay_report(100_000, False))
    assert records(done, "relay")[0].body["why"] == "commanded on, but it reads back off"


def test_a_switch_that_waited_for_its_minimum_time_is_recorded_too() -> None:
    live = Live()
    live.show(50, 80)
    told = [(r.body["from"], r.body["to"], r.body["on"]) for r in records(live.done, "extractor")]
    assert told == [("standby", "extracting", False), ("extracting", "extracting", True)]
    assert [s.t for s in switches(live.done)] == [records(live.done, "extractor")[1].t]


def test_store_reports_are_kept_with_what_was_lost() -> None:
    done = running().take(StoreReport(80_000, "disk full", 3))
    assert records(done, "store")[0].body == {"change": "failing", "why": "disk full", "dropped": 3}


def test_times_never_repeat_nor_go_back() -> None:
    live = running()
    for t in (live.t, live.t, live.t - 5000, live.t + 1, live.t + 1):
        live.take(measured(t, 3))
    times = [a.t for a in live.done]
    readings = [a.t for a in live.done if type(a).__name__ == "Readings"]
    assert times == sorted(times)
    assert len(set(readings)) == len(readings)


def test_steps_of_hours_are_gone_through_in_order() -> None:
    live = running()
    live.show(50, 20)
    live.show(2, 30)
    done = live.wait(10 * HOUR)
    times = [a.t for a in done]
    assert times == sorted(times)
    assert live.core.now <= live.t
    assert live.core.due > live.t


def asked(words: dict[str, Any], verb: str) -> dict[str, Any]:
    return running().ask(verb, **words)


@pytest.mark.parametrize(
    ("verb", "words", "says"),
    [
        ("dance", {}, '"dance" cannot be asked'),
        ("acknowledge", {"name": "nothing"}, 'there is no alarm "nothing"; there is: print'),
        ("acknowledge", {"name": ["print"]}, "there is no alarm"),
        ("acknowledge", {"name": "print"}, "print has nothing to acknowledge; it is normal"),
        ("reset", {"name": "print"}, "print has nothing to reset"),
        ("unshelve", {"name": "print"}, "print is not shelved"),
        ("put back in service", {"name": "print"}, "print is in service already"),
        ("shelve", {"name": "print"}, "how long?"),
        ("shelve", {"name": "print", "for": 0}, "how long?"),
        ("shelve", {"name": "print", "for": True}, "how long?"),
        ("shelve", {"name": "print", "for": 8 * 86_400_000}, "how long?"),
        ("hold", {"name": "hood", "on": True}, "how long?"),
        ("hold", {"name": "hood", "for": 1000}, "on or off?"),
        ("hold", {"name": "print", "for": 1000}, 'there is no extractor "print"'),
        ("release", {"name": "hood"}, "hood is not held; it is standby"),
    ],
)
def test_a_request_without_sense_is_refused_in_one_sentence_and_recorded(
    verb: str, words: dict[str, Any], says: str
) -> None:
    live = running()
    before = live.core.save()
    answer = live.ask(verb, **words)
    assert not answer["done"]
    assert says in answer["says"]
    assert "\n" not in answer["says"]
    assert live.core.save()["alarms"] == before["alarms"]
    assert records(live.done, "request")[0].body["who"] == "ada"


def test_an_alarm_out_of_service_cannot_be_shelved() -> None:
    live = running()
    assert live.ask("take out of service", name="print")["done"]
    answer = live.ask("shelve", name="print", **{"for": MINUTE})
    assert answer == {"done": False, "says": "print cannot be shelved; it is out of service"}
    assert live.ask("put back in service", name="print")["done"]


def test_holding_and_releasing() -> None:
    live = running()
    assert live.ask("hold", name="hood", on=True, **{"for": HOUR})["done"]
    assert live.fan.on
    assert live.fan.state is State.HELD_ON
    live.show(2, 300)
    assert live.ask("release", name="hood")["done"]
    assert not live.fan.on


CEILING = {"channel": "bench.pm2_5", "value": 60}


def held_off() -> Live:
    live = running()
    words = {"on": False, "for": HOUR, "ceiling": CEILING}
    assert live.ask("hold", name="hood", **words)["done"]
    live.show(50, 90)
    assert live.fan.state is State.HELD_OFF
    return live


def test_a_fan_that_is_held_off_is_released_when_the_air_reaches_the_ceiling() -> None:
    live = held_off()
    done = live.show(80, 60)
    change = records(done, "extractor")[0].body
    assert (change["to"], change["on"]) == ("extracting", True)
    assert "bench.pm2_5 reached 6" in change["why"]
    assert "the ceiling of 60 µg/m³; alarm print" in change["why"]


@pytest.mark.parametrize("restart", [False, True])
def test_a_ceiling_that_cannot_be_seen_ends_the_hold_after_the_blind_time(restart: bool) -> None:
    live = held_off()
    live = restarted(live) if restart else live
    begin = live.t
    change = records(live.wait(HOUR // 2), "extractor")[0]
    assert "gave no trustworthy data for 2 min" in change.body["why"]
    assert live.fan.on
    assert 110_000 < change.t - begin <= 125_000


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"on": True}, "a ceiling is for holding off"),
        ({"ceiling": 5}, 'a ceiling needs a "channel" and a "value"'),
        ({"ceiling": {"channel": "x.y", "value": 5}}, 'there is no channel "x.y"'),
        ({"ceiling": {"channel": "bench.pm2_5", "value": True}}, "needs a value above 0 µg/m³"),
        ({"ceiling": {"channel": "bench.pm2_5", "value": 1}}, "bench.pm2_5 is at 2.0 µg/m³"),
    ],
)
def test_a_ceiling_without_sense_is_refused_and_nothing_is_held(changes: Any, says: str) -> None:
    live = running()
    words = {"on": False, "for": HOUR, "ceiling": CEILING, **changes}
    answer = live.ask("hold", name="hood", **words)
    assert not answer["done"]
    assert says in answer["says"]
    assert live.fan.hold is None


def test_a_ceiling_on_a_silent_channel_is_refused_and_makes_nothing_fresh() -> None:
    live = running()
    live.wait(10 * MINUTE)
    assert live.fan.state is State.BLIND
    words = {"on": False, "for": HOUR, "ceiling": CEILING}
    assert "no trustworthy data" in live.ask("hold", name="hood", **words)["says"]
    assert live.fan.state is State.BLIND


FOUND = {
    "channel": "bench.pm2_5",
    "volume": 40,
    "natural": 0.9,
    "natural_error": 0.05,
    "clearance": 6.2,
    "clearance_error": 0.3,
    "points": 120,
    "method": "decay after a print",
}


def test_what_was_commissioned_is_recorded_kept_and_survives_a_restart() -> None:
    live = running()
    assert live.ask("commissioned", name="hood", **FOUND)["done"]
    record = records(live.done, "commissioned")[0]
    assert record.subject == "hood"
    assert record.body == {**FOUND, "t": live.core.now, "who": "ada"}
    again = restarted(live)
    assert again.core.commissioned == live.core.commissioned


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"channel": "x.y"}, "there is no channel"),
        ({"natural": None}, '"natural" must be a number'),
        ({"natural": float("nan")}, '"natural" is nan'),
        ({"volume": 0}, '"volume" must be above 0 m³'),
        ({"clearance": 0.5}, '"clearance" must be at least "natural"'),
        ({"points": 1.5}, '"points" must be a whole number'),
    ],
)
def test_a_finding_without_sense_is_refused(changes: Any, says: str) -> None:
    live = running()
    answer = live.ask("commissioned", name="hood", **{**FOUND, **changes})
    assert not answer["done"]
    assert says in answer["says"]
    assert live.core.commissioned == {}


def restarted(live: Live, shift: int = 0) -> Live:
    saved = json.loads(json.dumps(live.core.save()))
    core = rooms.core(live.core.settings, live.t + 5000 + shift)
    core.restore(saved, same_boot=not shift)
    return Live(core)


@pytest.mark.parametrize("shift", [0, -60_000])
def test_alarms_holds_and_minimum_times_survive_a_restart(shift: int) -> None:
    live = running()
    live.show(50, 20)
    live.ask("acknowledge", name="print")
    assert live.fan.on
    again = restarted(live, shift)
    assert again.core.alarms["print"].state.value == "acknowledged"
    assert again.core.commands() == {"board": False}
    done = again.show(50, 70)
    assert changes(done, "alarm") == []
    assert [s.on for s in switches(done)] == [True]
    start = live.t + 5000 + shift
    assert switches(done)[0].t >= start + again.fan.settings.minimum_off


def test_what_is_gone_from_the_configuration_is_not_restored() -> None:
    live = running()
    live.show(50, 20)
    other = rooms.core(rooms.room(alarms={"new": rooms.alarm()}, extractors={}), live.t)
    other.restore(live.core.save(), same_boot=True)
    assert other.alarms["new"].state.value == "normal"
