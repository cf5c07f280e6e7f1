"""The hours of a laser: counted while samples come, kept over restarts, told beside its life."""

import pytest

import rooms
from fakes import FakeClock, TwinPort, wiring
from ventwright.commands.status import _part_lines
from ventwright.events import Event, Measured, Started
from ventwright.keeper.core import Core
from ventwright.keeper.process import kind_of
from ventwright.keeper.status import status
from ventwright.quality.judge import PartKind
from ventwright.sampling.poller import Polled
from ventwright.settings.model import PartEntry
from ventwright_drivers import registry
from ventwright_drivers.part import Part, Sample

HOUR = 3_600_000
KIND = PartKind("sds011", ("pm2_5",), 1000, 10_000, 30_000, True, laser_hours=8000)


def core(kind: PartKind = KIND, t: int = 0) -> Core:
    settings = rooms.room(alarms={}, extractors={}, relays={})
    settings.parts["bench"] = PartEntry(kind.model, "", None, ("pm2_5",))
    return Core(settings, {"bench": kind}, t)


def show(live: Core, start: int, until: int) -> None:
    for t in range(start, until, 1000):
        live.handle(Measured(t, "bench", Sample((t % 7000 / 1000,))))


def test_what_shines_is_counted_and_what_is_away_is_not() -> None:
    live = core()
    live.handle(Started(0, "bench"))
    show(live, 1000, HOUR + 1000)
    assert live.parts["bench"].laser_ms == pytest.approx(HOUR, abs=2)
    show(live, 2 * HOUR, 2 * HOUR + 10_000)
    assert live.parts["bench"].laser_ms == pytest.approx(HOUR + 9000, abs=2)


def test_it_outlasts_a_restart_and_even_a_boot_but_not_another_model() -> None:
    live = core()
    live.handle(Started(0, "bench"))
    show(live, 1000, HOUR + 1000)
    for same_boot in (True, False):
        later = core(t=10)
        later.restore(live.save(), same_boot)
        assert later.parts["bench"].laser_ms == pytest.approx(HOUR, abs=2)
    new = core(KIND._replace(model="pms5003"))
    new.restore(live.save(), same_boot=True)
    assert new.parts["bench"].laser_ms == 0
    old = live.save()
    del old["wear"]
    new.restore(old, same_boot=True)


def test_the_status_tells_it_beside_the_published_life() -> None:
    live = core(KIND._replace(rest=600_000))
    live.handle(Started(0, "bench"))
    show(live, 1000, 3 * HOUR)
    keeping = type("Keeping", (), {"failing": "", "last_commit": None, "unstored": []})
    told = status(live, keeping, 0, settled=True)["parts"]["bench"]  # type: ignore[arg-type]
    line = next(_part_lines("bench", told))
    assert line.endswith("laser on for 2 h of about 8000 h, rests for 10 min at a time")


class Bench:
    """A real driver on its twin, polled, and a core that takes what comes."""

    def __init__(self, model: str, rest: int) -> None:
        self.clock = FakeClock(5000)
        self.twin = registry.twins()[model](lambda _: 7.0 + self.clock.time // 1000 % 5)
        driver = registry.parts()[model]
        self.part: Part = driver(
            driver.Options("/dev/x", rest=rest),
            wiring(self.clock, open_port=lambda *_: TwinPort(self.clock, self.twin)),
        )
        self.events: list[Event] = []
        settings = rooms.room(alarms={}, extractors={}, relays={})
        settings.parts["bench"] = PartEntry(model, "", None, ("pm2_5",))
        self.core = Core(settings, {"bench": kind_of(self.part)}, 5000)
        self.records: list[str] = []

    def run(self, ms: int) -> None:
        polled = Polled("bench", self.part, self._take)
        end = self.clock.now() + ms
        while self.clock.now() < end:
            self.clock.sleep_until(polled.due)
            polled.turn()

    def _take(self, event: Event) -> None:
        self.events.append(event)
        done = self.core.handle(event)
        self.records += [
            f"{r.body['change']} {r.body['why']}".strip() for r in rooms.records(done, "part")
        ]


RESTING = [name for name, part in registry.parts().items() if hasattr(part, "mute_ms")]


def test_these_can_rest() -> None:
    assert set(RESTING) == {
        *("pms5003", "pms7003", "pmsa003", "pms5003s", "pms5003t", "pms5003st"),
        *("sds011", "hpma115s0", "hpma115c0"),
    }


@pytest.mark.parametrize("model", RESTING)
def test_a_part_that_rests_spares_its_laser_and_is_not_lost(model: str) -> None:
    bench = Bench(model, rest=10)
    bench.run(4 * HOUR)
    assert bench.records == []
    starts = [e.t for e in bench.events if isinstance(e, Started)]
    window = bench.part.warm_up_ms + 30_000
    assert len(starts) == pytest.approx(4 * HOUR / (600_000 + window), abs=1.5)
    shone = bench.core.parts["bench"].laser_ms
    assert shone == pytest.approx(len(starts) * window, rel=0.15)
    history = bench.core.channels["bench.pm2_5"].history
    assert history.cover > 3.5 * HOUR  # a good reading speaks for the rest before it


@pytest.mark.parametrize("model", RESTING)
def test_without_a_rest_it_measures_on_end(model: str) -> None:
    bench = Bench(model, rest=0)
    bench.run(HOUR)
    assert sum(isinstance(e, Started) for e in bench.events) == 1
    assert bench.core.parts["bench"].laser_ms > 0.99 * HOUR - 5000


def test_a_part_that_never_wakes_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench("sds011", rest=10)
    bench.run(660_000 // 2)
    monkeypatch.setattr(bench.twin, "receive", lambda *_: None)
    monkeypatch.setattr(bench.twin, "emit", lambda _: b"")
    bench.run(900_000)
    assert bench.records == ["lost /dev/x sent nothing for 10 s"]
