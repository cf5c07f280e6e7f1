"""No bad reading moves a mean, a baseline, an alarm or an extractor, whatever is in it.

Two cores live the same life; only what stands in the bad readings differs. Whatever they show,
decide and remember afterwards must be the same, and another core that never got them knows the same
of the air.
"""

import json
from dataclasses import replace
from typing import Any, NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st

import rooms
from rooms import measured
from ventwright.events import Action, Event, Measured, Readings, Record, Started
from ventwright.keeper.core import Core
from ventwright.quality.judge import PartKind
from ventwright.quality.marks import Quality
from ventwright.settings.model import PartEntry, SameAir, Settings
from ventwright_drivers.part import Sample

QUICK = {"over": 4000, "on_delay": 0, "off_delay": 2000, "coverage": 0.25}
COMPARISONS = ("mean", "rise", "rate", "forecast", "departure", "silence", "emission")
FAN = {"minimum_on": 4000, "minimum_off": 3000, "run_on": 5000, "blind_after": 20_000}
CLIMATE = PartKind("sht40", ("humidity",), 1000, 10_000, 0, optical=False)
KIND = rooms.KIND._replace(warm_up=0)


def house() -> Settings:
    """An alarm of every kind, one as shipped, a fan, a pair, and a part in air that gets wet."""
    alarms = {kind: rooms.alarm(compare=kind, **QUICK) for kind in COMPARISONS}
    alarms["silence"] = replace(alarms["silence"], setpoint=0.2, deadband=0, over=12_000)
    shipped = rooms.alarm(compare="rise", setpoint=4, deadband=2.7, share=1.2, ahead=360_000)
    plain = rooms.room(
        parts=("bench", "door"),
        alarms={**alarms, "shipped": shipped, "door": rooms.alarm("door.pm2_5", **QUICK)},
        extractors={"hood": rooms.extractor(**FAN)},
        same_air={"dust": SameAir(("bench.pm2_5", "door.pm2_5"), 5.0)},
    )
    bench = replace(plain.parts["bench"], humidity="climate.humidity")
    climate = PartEntry("sht40", "", None, ("humidity",))
    return replace(plain, parts={**plain.parts, "bench": bench, "climate": climate})


class Reading(NamedTuple):
    """A sample of one part: what makes it bad, or nothing, and what is in it."""

    part: str
    bad: str
    value: float
    wait: int


class Life:
    """A core that lives through readings; `other` changes what is in the bad ones."""

    def __init__(self, other: Any = None) -> None:
        kinds = {"bench": KIND, "door": KIND, "climate": CLIMATE}
        self.core, self.other, self.t = Core(house(), kinds, 0), other, 0
        self.done: list[Action] = []
        for part in kinds:
            self.take(Started(0, part))
        for n in range(1, 80):  # six minutes make a baseline
            self.take(measured(n * 5000, 2.0 + n % 3 / 10))
            self.take(measured(n * 5000, 2.0 + n % 4 / 10, "door"))
        self.t = self.core.now

    def take(self, event: Event) -> None:
        self.done += self.core.handle(event)

    def live(self, story: list[Reading]) -> "Life":
        for place, one in enumerate(story):
            self.t = max(self.core.now, self.t + one.wait)
            value = one.value if self.other is None else self.other[place % len(self.other)]
            self.one(one, value)
        self.done += self.core.advance(self.t + 40_000)
        return self

    def one(self, one: Reading, value: float) -> None:
        if one.bad == "wet":
            self.take(Measured(self.t, "climate", Sample((95.0,))))
            self.take(measured(self.t, abs(value) % 400, "bench"))
        elif one.bad == "range":
            self.take(measured(self.t, 5001 + abs(value) % 90_000, one.part))
        elif one.bad == "failed":
            self.take(measured(self.t, value, one.part, fault="laser"))
        elif one.bad == "none":
            self.take(measured(self.t, None, one.part))
        elif one.bad == "order":
            high = 200 + abs(value) % 900
            self.take(Measured(self.t, one.part, Sample((high, high / 2, 1.0))))
        else:
            self.take(measured(self.t, one.value, one.part))

    def decisions(self) -> list[Action]:
        return [action for action in self.done if not isinstance(action, Readings)]

    def memory(self) -> dict[str, Any]:
        return dict(json.loads(json.dumps(self.core.save())))

    def sums(self) -> list[tuple[int, int, int | None]]:
        found = [channel.history for channel in self.core.channels.values()]
        return [(one.area, one.cover, one.last) for one in found]


def readings(bad: list[str]) -> Any:
    return st.lists(
        st.builds(
            Reading,
            st.sampled_from(["bench", "bench", "door"]),
            st.sampled_from(["", "", *bad]),
            st.sampled_from([1.0, 2.0, 9.0, 14.0, 80.0, 400.0]),
            st.sampled_from([1, 900, 1000, 1000, 1000, 6000]),
        ),
        min_size=4,
        max_size=40,
    )


BAD = ["range", "failed", "none", "order", "wet"]
anything = st.lists(
    st.one_of(st.sampled_from([0.0, -1.0, 3.0, 60.0, 4e4]), st.floats(-1e6, 1e6)), min_size=1
)


@settings(max_examples=40, deadline=None)
@given(readings(BAD), anything)
def test_what_stands_in_bad_readings_changes_nothing(story: Any, other: list[float]) -> None:
    one, two = Life().live(story), Life(other).live(story)
    assert one.decisions() == two.decisions()
    assert one.memory() == two.memory()
    assert one.sums() == two.sums()


@settings(max_examples=30, deadline=None)
@given(readings(["range", "none", "failed", "order"]))
def test_of_the_air_nothing_else_is_known_than_without_them(story: list[Reading]) -> None:
    one, two = Life().live(story), Life()
    for reading in story:
        two.t = max(two.core.now, two.t + reading.wait)
        if reading.bad:
            two.done += two.core.advance(two.t)
        else:
            two.one(reading, reading.value)
    two.done += two.core.advance(two.t + 40_000)
    assert one.sums() == two.sums()
    assert one.memory()["baselines"] == two.memory()["baselines"]
    assert one.core.commands() == two.core.commands()


LATER = st.lists(
    st.tuples(
        st.sampled_from([q for q in Quality if q is not Quality.INCONSISTENT_PARTS]),
        st.integers(0, 900),
        st.integers(0, 60_000),
    ),
    min_size=1,
    max_size=40,
)


@settings(max_examples=40, deadline=None)
@given(LATER)
def test_in_a_log_too_only_good_ones_count(story: list[tuple[Quality, int, int]]) -> None:
    cores = [Life(), Life()]
    for place, (quality, good, bad) in enumerate(story, 1):
        for life, other in zip(cores, (bad, None), strict=True):
            step = good if quality is Quality.GOOD else other
            marks = bytes([quality]) * 3
            life.take(Readings(life.t + place * 1000, "bench", (step,) * 3, marks))
    assert cores[0].memory() == cores[1].memory()
    assert cores[0].sums() == cores[1].sums()
    told = [[a for a in life.done if isinstance(a, Record)] for life in cores]
    assert told[0] == told[1]
