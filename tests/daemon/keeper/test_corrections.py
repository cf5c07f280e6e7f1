"""Calibration, wet air and sparse data, as the core takes them."""

from dataclasses import replace

import rooms
from rooms import measured
from ventwright.events import Action, Measured, Readings, Started
from ventwright.extraction.extractor import State
from ventwright.keeper.core import Core
from ventwright.quality.judge import PartKind
from ventwright.quality.marks import Quality
from ventwright.settings.model import Calibration, PartEntry
from ventwright.standards.humid import growth
from ventwright_drivers.part import Sample

CLIMATE = PartKind("sht40", ("temperature", "humidity"), 2000, 10_000, 0, optical=False)


def readings(actions: list[Action], part: str) -> list[Readings]:
    return [a for a in actions if isinstance(a, Readings) and a.part == part]


def damp_core(**wishes: object) -> Core:
    settings = rooms.room()
    bench = replace(settings.parts["bench"], humidity="climate.humidity", **wishes)  # type: ignore[arg-type]
    climate = PartEntry("sht40", "", None, CLIMATE.quantities)
    settings = replace(settings, parts={"bench": bench, "climate": climate})
    core = Core(settings, {"bench": rooms.KIND, "climate": CLIMATE}, 0)
    for part in settings.parts:
        core.handle(Started(0, part))
    return core


def breathe(core: Core, t: int, humidity: float, value: float) -> Readings:
    core.handle(Measured(t, "climate", Sample((20.0, humidity))))
    return readings(core.handle(measured(t + 10, value)), "bench")[0]


def test_a_calibrated_channel_is_judged_and_stored_calibrated() -> None:
    settings = rooms.room()
    bench = replace(settings.parts["bench"], calibration={"pm2_5": Calibration(1.0, 2.0)})
    core = rooms.core(replace(settings, parts={"bench": bench}))
    core.handle(Started(0, "bench"))
    (stored,) = readings(core.handle(measured(9000, 4.0)), "bench")
    assert stored.steps == (40, 90, 40)
    assert core.channels["bench.pm2_5"].last_value == 9.0


def test_wet_air_is_stored_humid_and_not_judged_and_nobody_is_told_of_a_loss() -> None:
    core = damp_core()
    for t in range(6000, 200_000, 1000):
        stored = breathe(core, t, 92.0, 50.0)
        assert stored.marks == bytes([Quality.HUMID]) * 3
    assert not core.alarms["print"].condition.active
    assert core.parts["bench"].trouble is None
    assert core.extractors["hood"].state is State.BLIND


def test_corrected_wet_air_is_judged_divided_by_the_published_factor() -> None:
    core = damp_core(humidity_correction=True)
    stored = breathe(core, 9000, 92.0, 50.0)
    kappa = core.settings.parts["bench"].kappa
    assert stored.marks == bytes(3)
    assert stored.steps == (round(500 / growth(92.0, kappa)),) * 3


def test_a_reading_now_and_then_is_no_reason_to_believe_the_air_clean() -> None:
    core = rooms.core()
    core.handle(Started(0, "bench"))
    states = set()
    for t in range(6000, 600_000, 20_000):
        core.handle(measured(t, 2.0 + t % 3))
        states.add((t > 180_000, core.extractors["hood"].state))
    assert (True, State.STANDBY) not in states
    assert core.extractors["hood"].state is State.BLIND


def test_half_a_minute_of_readings_ends_blindness() -> None:
    core = rooms.core()
    core.handle(Started(0, "bench"))
    core.advance(200_000)
    assert core.extractors["hood"].state is State.BLIND
    for t in range(201_000, 229_000, 1000):
        core.handle(measured(t, 2.0 + t % 3))
        assert core.extractors["hood"].state is State.BLIND
    for t in range(229_000, 233_000, 1000):
        core.handle(measured(t, 2.0 + t % 3))
    assert core.extractors["hood"].state is not State.BLIND
