"""Running, then replaying the log, gives identical decisions: any life, any deaths, any hand."""

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from daemon.alarms.diagram import follows_the_diagram, is_told_once
from daemon.replaying.lives import Life, Told, replayed, taken
from rooms import measured
from ventwright.alarms.states import State
from ventwright.events import Event, LocalTime, RelayReport, Request, Started, StoreReport, Trouble
from ventwright.settings.model import HOUR, Settings

QUICK = {"minimum_on": 4000, "minimum_off": 3000, "run_on": 5000, "blind_after": 10_000}


def house(**changes: Any) -> Settings:
    """Two parts, alarms of every kind, two fans, all of it quick."""
    plain: dict[str, Any] = {
        "relays": {"board": rooms.relay(), "other": rooms.relay("on")},
        "extractors": {
            "hood": rooms.extractor(**QUICK, quiet_hours="06:00-18:00"),
            "wall": rooms.extractor(**{**QUICK, "relay": "other", "when_blind": "off"}),
        },
        "alarms": {
            "print": rooms.alarm("bench.pm2_5", over=3000, on_delay=1500, off_delay=2500),
            "far": rooms.alarm("door.pm10", over=8000, latching=True, priority="high"),
            "told": rooms.alarm("door.pm1", over=1000, on_delay=0, off_delay=0, extract=False),
            "rise": rooms.alarm("bench.pm1", over=60_000, compare="rise", setpoint=4),
            "long": rooms.alarm("bench.pm2_5", over=600_000, coverage=0.1),
            "rate": rooms.alarm("bench.pm2_5", over=5000, compare="rate", setpoint=6),
            "soon": rooms.alarm("bench.pm10", over=1_440_000, compare="forecast", coverage=0.1),
            "off": rooms.alarm("bench.pm1", over=4000, compare="departure", setpoint=20),
            "mute": rooms.alarm(
                "door.pm10", over=60_000, compare="silence", setpoint=1, deadband=0
            ),
        },
    }
    return rooms.room(parts=("bench", "door"), **{**plain, **changes})


OTHER = house(
    extractors={"hood": rooms.extractor(**{**QUICK, "run_on": 60_000, "blind_after": 25_000})},
    alarms={
        "print": rooms.alarm("bench.pm2_5", over=20_000, on_delay=0, off_delay=30_000),
        "rise": rooms.alarm("bench.pm1", over=30_000, compare="rise", setpoint=2, deadband=1),
        "new": rooms.alarm("door.pm2_5", over=5000, setpoint=20),
    },
)
"""Other rules for the same parts."""

parts = st.sampled_from(["bench", "door"])
values = st.sampled_from([None, 1.0, 2.0, 8.0, 9.0, 12.0, 30.0, 9000.0])
words = st.fixed_dictionaries(
    {
        "name": st.sampled_from(["print", "far", "hood", "wall", "nothing"]),
        "for": st.integers(1, 200_000),
        "on": st.booleans(),
    }
)
verbs = st.sampled_from(
    ["acknowledge", "shelve", "unshelve", "reset", "hold", "release", "take out of service",
     "put back in service"]
)  # fmt: skip

airs = st.tuples(st.just("air"), values, st.integers(1, 150), st.sampled_from([997, 1000, 2300]))
mixed = st.tuples(st.just("one"), parts, values, st.integers(0, 2500))
asked = st.tuples(st.just("asked"), verbs, words, st.integers(0, 3000))
strange = st.tuples(st.just("strange"), st.integers(0, 3), parts, st.integers(0, 20_000))
looks = st.tuples(st.just("look"), st.integers(0, 40_000))
deaths = st.tuples(
    st.just("death"), st.booleans(), st.booleans(), st.sampled_from([1, 400, 5000, 300_000])
)
clocks = st.tuples(
    st.just("clock"), st.sampled_from([None, 0, 7 * HOUR, 18 * HOUR - 60_000, -5 * HOUR])
)
heard_steps = st.one_of(airs, airs, airs, mixed, mixed, asked, strange, clocks)
saves = st.tuples(st.just("save"))
quiet_steps = st.one_of(heard_steps, looks, saves)
steps = st.one_of(quiet_steps, quiet_steps, quiet_steps, quiet_steps, deaths)


class Story:
    """Lives through steps on a store in a folder."""

    def __init__(self, folder: Path, rules: Settings, start: int = 12_345) -> None:
        self.folder, self.rules, self.t, self.boots = folder, rules, start, 1
        self.life = Life(folder, rules, start, "boot-1")

    def live(self, story: list[Any]) -> None:
        for kind, *said in story:
            getattr(self, f"_{kind}")(*said)

    def _air(self, value: float | None, count: int, step: int) -> None:
        for n in range(count):
            self.t += step
            self.life.event(measured(self.t, None if value is None else value + n % 3 / 10))
            if n % 3 == 0:
                self.life.event(measured(self.t + 100, value, "door"))

    def _one(self, part: str, value: float | None, wait: int) -> None:
        self.t += wait
        self.life.event(measured(self.t, value, part))

    def _asked(self, verb: str, said: Any, wait: int) -> None:
        self.t += wait
        self.life.event(Request(self.t, "ada", verb, said))

    def _strange(self, which: int, part: str, wait: int) -> None:
        self.t += wait
        made: list[Event] = [
            Started(self.t, part),
            Trouble(self.t, part, "unplugged"),
            RelayReport(self.t, "board", True, False),
            StoreReport(self.t, "full", 1),
        ]
        self.life.event(made[which])

    def _clock(self, local: int | None) -> None:
        self.t += 10
        self.life.event(LocalTime(self.t, local))

    def _look(self, wait: int) -> None:
        self.t += wait
        self.life.look(self.t)

    def _save(self) -> None:
        """As the keeper does once an hour: it is stored with what is committed next."""
        self.life.save()

    def _death(self, orderly: bool, reboot: bool, gap: int) -> None:
        self.end(orderly)
        self.t = max(self.t, self.life.core.now) + gap
        if reboot:
            self.boots, self.t = self.boots + 1, 700 + gap
        self.life = Life(self.folder, self.rules, self.t, f"boot-{self.boots}")

    def end(self, orderly: bool = True) -> None:
        if orderly:
            self.life.stop()
        else:
            self.life.kill()


@settings(max_examples=50, deadline=None)
@given(st.lists(steps, min_size=1, max_size=14), st.booleans())
def test_replaying_gives_the_decisions_that_the_store_holds(story: Any, orderly: bool) -> None:
    with tempfile.TemporaryDirectory(prefix="h10-") as folder:
        lived = Story(Path(folder), house())
        lived.live(story)
        lived.end(orderly)
        done = taken(Path(folder))
        assert replayed(Path(folder), house()) == done
        for told in alarms_of(done):
            assert follows_the_diagram(told)
            assert is_told_once(told)


def alarms_of(done: Told) -> list[list[tuple[str, State]]]:
    """What became of each alarm over all deaths and boots."""
    found: dict[str, list[tuple[str, State]]] = {}
    for _, _, kind, subject, body in done:
        if kind == "alarm":
            found.setdefault(subject, []).append((body["change"], State(body["state"])))
    return list(found.values())


@settings(max_examples=25, deadline=None)
@given(st.lists(heard_steps, min_size=1, max_size=10))
def test_other_rules_decide_in_a_replay_what_they_would_have_decided_then(story: Any) -> None:
    with tempfile.TemporaryDirectory(prefix="h10-") as folder:
        one, two = Path(folder, "one"), Path(folder, "two")
        for place, rules in ((one, house()), (two, OTHER)):
            lived = Story(place, rules)
            lived.live([*story, ("one", "bench", 1.0, 1)])  # both logs go equally far
            lived.end()
        assert replayed(one, OTHER) == taken(two)
        assert replayed(two, house()) == taken(one)


def test_blindness_holds_and_restarts_are_played_again(tmp_path: Path) -> None:
    story = Story(tmp_path, house())
    story._air(1.0, 400, 1000)
    story._air(30.0, 60, 1000)
    story._asked("hold", {"name": "wall", "on": True, "for": 90_000}, 10)
    story._death(orderly=False, reboot=False, gap=400)
    story._look(30_000)
    story._death(orderly=True, reboot=True, gap=5000)
    story._air(30.0, 60, 1000)
    story._asked("shelve", {"name": "print", "for": 20_000}, 10)
    story._air(1.0, 900, 1000)
    story.end()
    done = taken(tmp_path)
    assert replayed(tmp_path, house()) == done
    said = {(kind, body.get("to") or body["change"]) for _, _, kind, _, body in done}
    states = {"blind", "extracting", "held on", "run-on", "standby"}
    assert said >= {("extractor", state) for state in states}
    assert {boot for boot, *_ in done} == {"boot-1", "boot-2"}


def test_quiet_hours_are_replayed_through_clock_steps_and_restarts(tmp_path: Path) -> None:
    story = Story(tmp_path, house())
    story._air(1.0, 400, 1000)
    story._clock(7 * HOUR)
    story._air(30.0, 60, 1000)  # quiet hours keep the hood off
    story._clock(18 * HOUR)  # the clock is set: they are over
    story._air(1.0, 60, 1000)
    story._clock(17 * HOUR)  # summer time ends: they come again
    story._air(30.0, 60, 1000)
    story._death(orderly=False, reboot=True, gap=5000)
    story._air(30.0, 30, 1000)  # nobody knows the time
    story.end()
    done = taken(tmp_path)
    assert replayed(tmp_path, house()) == done
    hood = [(boot, body) for boot, _, _, subject, body in done if subject == "hood"]
    first = [(body["about"], body["on"]) for boot, body in hood if boot == "boot-1"]
    assert ("quiet hours", False) in first
    assert any(on for _, on in first)
    assert any(body["on"] for boot, body in hood if boot == "boot-2")


def test_a_log_without_its_beginning_is_played_from_where_it_begins(tmp_path: Path) -> None:
    story = Story(tmp_path, house())
    story._air(1.0, 400, 1000)
    story._air(30.0, 60, 1000)
    story.end()
    story.life.writer._connection().executescript(
        "DELETE FROM events WHERE id = 1; DELETE FROM blocks WHERE id < 4;"
    )
    story.life.writer.close()
    found = [
        (subject, body.get("change")) for _, _, _, subject, body in replayed(tmp_path, house())
    ]
    assert ("print", "raised") in found


def test_parts_that_keep_other_quantities_are_played_by_name(tmp_path: Path) -> None:
    story = Story(tmp_path, house())
    story._air(1.0, 100, 1000)
    story._air(30.0, 60, 1000)
    story.end()
    rules = house()
    fewer = {n: replace(e, quantities=("pm10", "pm2_5")) for n, e in rules.parts.items()}
    only = replace(rules, parts=fewer, alarms={"print": rules.alarms["print"]})
    done = [d for d in taken(tmp_path) if d[3] == "print"]
    assert next(d for d in replayed(tmp_path, only) if d[3] == "print")[:2] == done[0][:2]
