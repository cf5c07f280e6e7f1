"""A part of which one element fails: its other channels go on, the owner is told what ails it."""

from dataclasses import replace
from typing import Any

import rooms
from ventwright.events import Action, Event, Measured, Started, Trouble
from ventwright.keeper.core import Core
from ventwright.keeper.status import status
from ventwright.keeper.watch import LOST_AFTER_MS
from ventwright.quality.judge import PartKind
from ventwright_drivers.part import Sample

QUANTITIES = rooms.QUANTITIES
KIND = PartKind("sen55", QUANTITIES, 1000, 10_000, 5000, optical=True, settle={"pm10": 60_000})
COARSE = frozenset(("pm10",))


class Live:
    def __init__(self) -> None:
        self.core: Core = rooms.core(kind=KIND)
        self.done: list[Action] = []
        self.take(Started(0, "bench"))

    def take(self, event: Event) -> None:
        self.done += self.core.handle(event)

    def show(
        self, t: int, until: int, fault: str = "", failed: frozenset[str] | None = None
    ) -> None:
        for now in range(t, until, 1000):
            sample = Sample((1.0 + now % 7 / 10, 3.0, 4.0), fault, failed)
            self.take(Measured(now, "bench", sample))

    @property
    def told(self) -> list[tuple[str, bool]]:
        records = rooms.records(self.done, "part")
        return [(r.body["change"], r.body.get("partly", False)) for r in records]

    def part(self) -> Any:
        keeping: Any = type("Keeping", (), {"failing": "", "last_commit": None, "unstored": []})
        return status(self.core, keeping, 0, settled=True)["parts"]["bench"]


def test_it_is_told_once_while_the_rest_is_judged() -> None:
    live = Live()
    live.show(1000, 100_000)
    live.show(100_000, 200_000, "laser failed", COARSE)
    assert live.told == [("lost", True)]
    told = live.part()
    assert (told["state"], told["why"]) == ("failing in part", "laser failed")
    assert told["channels"]["pm2_5"]["quality"] == "good"
    assert told["channels"]["pm10"]["quality"] == "failed"
    assert live.core.channels["bench.pm2_5"].history.last == 199_000
    assert live.core.channels["bench.pm10"].history.last == 99_000
    live.show(200_000, 202_000)
    assert live.told == [("lost", True), ("back", False)]
    assert live.part()["state"] == "there"


def test_losing_the_rest_as_well_is_news() -> None:
    live = Live()
    live.show(1000, 100_000)
    live.show(100_000, 150_000, "laser failed", COARSE)
    for now in range(150_000, 200_000, 1000):
        live.take(Trouble(now, "bench", "unplugged"))
    assert live.told == [("lost", True), ("lost", False)]


def test_nothing_heard_of_it_any_more_is_news_too() -> None:
    live = Live()
    live.show(1000, 100_000)
    live.show(100_000, 150_000, "laser failed", COARSE)
    live.done += live.core.advance(150_000 + KIND.silence + 2 * LOST_AFTER_MS)
    assert live.told == [("lost", True), ("lost", False)]


def test_a_fault_of_what_nobody_keeps_is_no_trouble() -> None:
    live = Live()
    live.show(1000, 200_000, "CO2 element failed", frozenset(("co2",)))
    assert live.told == []
    assert live.part()["why"] == "CO2 element failed"


def test_each_channel_says_how_long_it_still_warms_up() -> None:
    live = Live()
    live.show(1000, 10_000)
    told = live.part()
    assert told["warm-up left (s)"] == 0
    left = {name: channel["warm-up left (s)"] for name, channel in told["channels"].items()}
    assert left == {"pm1": 0, "pm2_5": 0, "pm10": 51}
    assert told["channels"]["pm10"]["quality"] == "warming up"


def test_a_laser_that_stands_still_is_told_while_the_air_beside_it_is_measured() -> None:
    """Temperature goes on changing, so the whole of the part is never the same."""
    kept = ("pm1", "pm2_5", "temperature")
    kind = PartKind("sen55", kept, 1000, 10_000, 0, optical=True)
    plain = rooms.room()
    parts = {"bench": replace(plain.parts["bench"], quantities=kept)}
    core = Core(replace(plain, parts=parts), {"bench": kind}, 0)
    done = core.handle(Started(0, "bench"))
    for t in range(1000, 700_000, 1000):
        done += core.handle(Measured(t, "bench", Sample((3.0, 4.0, 20 + t / 1e6))))
    told = [(r.body["why"], r.body["partly"]) for r in rooms.records(done, "part")]
    assert told == [("it repeats the same values", True)]
    assert not core.channels["bench.pm2_5"].speaks(core.now)
    assert core.channels["bench.temperature"].speaks(core.now)
    assert [r.body["to"] for r in rooms.records(done, "extractor")] == []
    done = core.advance(core.now + 150_000)
    assert [r.body["to"] for r in rooms.records(done, "extractor")] == ["blind"]
