"""Pollers keep the pace, restart what fails, and let no part cost another."""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from fakes import FakeClock, TwinPort, wiring
from ventwright.events import Event, Measured, Started, Trouble
from ventwright.sampling.poller import Polled, Poller, by_place
from ventwright_drivers import registry
from ventwright_drivers.errors import DeviceLost
from ventwright_drivers.part import Part, Sample

END = 200_000


class Scripted(Part):
    """A part that does what a function of the time says."""

    model = "scripted"
    quantities = ("co2",)
    period_ms = 1000
    starts = 0
    closes = 0

    def __init__(self, clock: FakeClock, read: Callable[[int], Any], place: str = "bus 1") -> None:
        super().__init__(None, wiring(clock))
        self._read, self._place = read, place

    @property
    def place(self) -> str:
        return self._place

    def start(self) -> None:
        self.starts += 1

    def read(self) -> Sample | None:
        found: Sample | None = self._read(self.clock.now())
        return found

    def close(self) -> None:
        self.closes += 1


class Stubborn(Scripted):
    """A part whose driver cannot even close."""

    def close(self) -> None:
        raise RuntimeError("cannot close")


def well(_: int) -> Sample:
    return Sample((400,))


def run(clock: FakeClock, *parts: Scripted) -> list[Event]:
    """Poll parts of one place until the end."""
    events: list[Event] = []

    def put(event: Event) -> None:
        events.append(event)
        clock.stopped = clock.now() >= END

    Poller(clock, [Polled(f"p{n}", part, put) for n, part in enumerate(parts)]).run()
    return events


def times(events: list[Event], kind: type[Any], part: str = "p0") -> list[int]:
    return [e.t for e in events if isinstance(e, kind) and e.part == part]  # type: ignore[union-attr]


def test_it_starts_once_and_keeps_the_pace() -> None:
    clock = FakeClock()
    part = Scripted(clock, well)
    events = run(clock, part)
    assert times(events, Started) == [0]
    assert times(events, Measured) == list(range(0, END + 1, 1000))
    assert (part.starts, part.closes) == (1, 1)


def test_a_slow_read_does_not_shift_the_pace() -> None:
    clock = FakeClock()

    def slow(_: int) -> Sample:
        clock.time += 300
        return Sample((400,))

    assert times(run(clock, Scripted(clock, slow)), Measured)[:4] == [300, 1300, 2300, 3300]


def test_after_a_long_stall_the_pace_is_taken_up_from_then() -> None:
    clock = FakeClock()

    def stall(now: int) -> Sample:
        clock.time += 5000 if now == 3000 else 0
        return Sample((400,))

    found = times(run(clock, Scripted(clock, stall)), Measured)
    assert found[:6] == [0, 1000, 2000, 8000, 9000, 10_000]


def test_nothing_new_yet_is_asked_again_after_a_quarter_period() -> None:
    clock = FakeClock()

    def seldom(now: int) -> Sample | None:
        return Sample((400,)) if now % 1000 == 500 else None

    assert times(run(clock, Scripted(clock, seldom)), Measured)[:2] == [500, 1500]


@pytest.mark.parametrize("error", [DeviceLost("gone"), ZeroDivisionError("a bug")])
def test_a_part_that_fails_is_closed_and_started_again_ever_more_patiently(
    error: Exception,
) -> None:
    clock = FakeClock()

    def fail(now: int) -> Sample:
        if now < 100_000:
            raise error
        return Sample((400,))

    part = Scripted(clock, fail)
    events = run(clock, part)
    tries = times(events, Trouble)
    waits = [after - before for before, after in pairwise(tries)]
    assert waits == [1000, 2000, 4000, 8000, 16_000, 30_000, 30_000]
    assert part.starts == len(tries) + 1
    assert times(events, Measured)[0] == tries[-1] + 30_000
    assert all("\n" not in e.why for e in events if isinstance(e, Trouble))


def test_the_patience_begins_anew_after_a_sample() -> None:
    clock = FakeClock()

    def flap(now: int) -> Sample:
        if now % 10_000 > 5000:
            raise DeviceLost("gone")
        return Sample((400,))

    found = times(run(clock, Scripted(clock, flap)), Trouble)
    assert found[:6] == [6000, 7000, 9000, 16_000, 17_000, 19_000]


@pytest.mark.parametrize("kind", [Scripted, Stubborn])
def test_a_failing_part_costs_its_neighbour_nothing(kind: type[Scripted]) -> None:
    clock = FakeClock()

    def fail(_: int) -> Sample:
        raise RuntimeError("a bug")

    events = run(clock, kind(clock, fail), Scripted(clock, well))
    assert times(events, Measured, "p1") == list(range(0, END + 1, 1000))
    assert len(times(events, Trouble)) == 11


@pytest.mark.parametrize(
    ("wanted", "there"), [("pms5003", "pms3003"), ("mh-z19b", "ze07-co"), ("ze08-ch2o", "ze07-co")]
)
def test_another_part_at_the_port_is_named(wanted: str, there: str) -> None:
    clock, events = FakeClock(), list[Event]()
    driver, twin = registry.parts()[wanted], registry.twins()[there](lambda _: 2.0)
    wires = wiring(clock, open_port=lambda *_: TwinPort(clock, twin))
    polled = Polled("bench", driver(driver.Options("/dev/x"), wires), events.append)
    while not any(isinstance(event, Trouble) for event in events):
        polled.turn()
        assert len(events) < 30
    trouble = next(event for event in events if isinstance(event, Trouble))
    assert trouble.why == (
        f'/dev/x has a {there}, not the {wanted} of [parts.bench]: write model = "{there}" there'
    )


def test_parts_are_grouped_by_their_place() -> None:
    clock = FakeClock()
    parts = [Scripted(clock, well, place) for place in ("a", "b", "a")]
    polled = [Polled(str(n), part, lambda _: None) for n, part in enumerate(parts)]
    assert {k: [p.name for p in v] for k, v in by_place(polled).items()} == {
        "a": ["0", "2"],
        "b": ["1"],
    }


def test_a_part_that_warms_up_anew_by_itself_is_told_as_started() -> None:
    clock = FakeClock()

    def rested(now: int) -> Sample | None:
        part.restarts = now // 50_000
        return Sample((400,)) if now % 50_000 >= 2000 else None

    part = Scripted(clock, rested)
    events = run(clock, part)
    assert times(events, Started)[:4] == [0, 52_000, 102_000, 152_000]
    assert part.starts == 1
    for started, measured in pairwise(events):
        if isinstance(started, Started):
            assert isinstance(measured, Measured)
            assert measured.t - started.t in (0, 2000)
