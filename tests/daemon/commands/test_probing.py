"""What `check` asks of parts and relays, on emulated ones and a clock that waits for nobody."""

from collections.abc import Callable
from typing import Any

import pytest

import rooms
from fakes import FakeClock, TwinPort, wiring
from ventwright.commands.check import _number, _tell
from ventwright.commands.probing import findings
from ventwright.settings.model import PartEntry, RelayEntry
from ventwright_drivers import registry
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.relay_a0 import A0Twin
from ventwright_drivers.emulated.twin import I2CTwin
from ventwright_drivers.part import Wiring

AIR = {"temperature": 21.0, "humidity": 45.0, "voc_index": 100.0, "nox_index": 1.0, "co2": 612.0}


def air(name: str) -> float:
    return AIR.get(name, 7.0)


class Bench:
    """One emulated part, and the wires to it."""

    def __init__(self, model: str, **options: Any) -> None:
        self.clock = FakeClock(5000)
        self.twin = registry.twins()[model](air)
        self.bus = EmulatedBus(self.clock.now)
        if isinstance(self.twin, I2CTwin):
            self.bus.plug(self.twin)
        driver = registry.parts()[model]
        self.entry = PartEntry(
            model, registry.where(driver), driver.Options(**options), driver.quantities
        )

    def wires(self) -> Wiring:
        return wiring(
            self.clock,
            open_port=lambda *_: TwinPort(self.clock, self.twin),
            open_bus=lambda _: self.bus,
        )

    def find(self) -> dict[str, Any]:
        settings = rooms.room(relays={})
        settings.parts.clear()
        settings.parts["one"] = self.entry
        (found,) = findings(settings, self.wires(), switch=False)
        return found


def test_three_readings_each_with_unit_and_the_warm_up_that_is_left() -> None:
    found = Bench("pms5003", port="/dev/x").find()
    assert (found["well"], found["says"]) == (True, "it answers")
    fine = found["readings"]["pm2_5"]
    assert fine == {"values": [0, 0, 7], "unit": "µg/m³", "warm-up left (s)": 24}


def test_what_is_asked_is_told_before_it_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    bench = Bench("scd41")
    settings = rooms.room(relays={})
    settings.parts.clear()
    settings.parts["gas"] = bench.entry
    asking = findings(settings, bench.wires(), switch=False, tell=told.append)
    wait = bench.clock.sleep_until
    monkeypatch.setattr(bench.clock, "sleep_until", lambda at: (told.append("waits"), wait(at)))
    next(asking)
    assert told[:2] == ["asking part gas (scd41): up to half a minute", "waits"]


def test_a_part_that_is_asked_keeps_its_pace() -> None:
    bench = Bench("scd41")
    found = bench.find()
    assert found["readings"]["co2"]["values"] == [612.0] * 3
    assert bench.clock.now() >= 5000 + 15_000
    assert found["readings"]["co2"]["warm-up left (s)"] == 0


def test_quantities_that_settle_later_say_so() -> None:
    readings = Bench("sen55").find()["readings"]
    left = {name: read["warm-up left (s)"] for name, read in readings.items()}
    assert left["pm2_5"] == left["temperature"] < 30
    assert left["voc_index"] == 3600 - 30 + left["pm2_5"]
    assert left["nox_index"] == 6 * 3600 - 30 + left["pm2_5"]
    assert None in readings["nox_index"]["values"]


def test_a_fault_is_told_beside_the_readings() -> None:
    bench = Bench("sen55")
    bench.twin.status = 1 << 4
    found = bench.find()
    assert (found["well"], found["says"]) == (False, "fan failed")
    assert found["readings"]["pm2_5"]["values"] == [7.0] * 3


class Falling(TwinPort):
    """A port that goes after the first frame."""

    def read(self, size: int) -> bytes:
        if self.clock.now() > 9000:
            raise OSError(5, "Input/output error")
        return super().read(size)


def test_what_goes_half_way_says_how_far_it_came(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(globals(), "TwinPort", Falling)
    found = Bench("pms5003", port="/dev/x").find()
    assert not found["well"]
    assert found["says"].startswith("1 of 3 readings came, then: /dev/x is gone while reading")


def test_it_is_written_for_people(capsys: pytest.CaptureFixture[str]) -> None:
    _tell(Bench("sen55").find())
    said = capsys.readouterr().out
    assert "well  part one (sen55) at /dev/i2c-1: it answers" in said
    assert "pm2_5           7, 7, 7 µg/m³ (warming up for 27 s more)" in said
    assert "nox_index       no value, no value, no value index (warming up for 5 h 59" in said


@pytest.mark.parametrize(
    ("quantity", "value", "text"),
    [
        ("n2_5", 0.0900002, "0.09"),
        ("gas_resistance", 12_345_678.4, "12345678"),
        ("temperature", -0.004, "0"),
        ("temperature", -12.3, "-12.3"),
        ("co2", 600.0, "600"),
        ("pm2_5", 10.0, "10"),
        ("pm2_5", None, "no value"),
    ],
)
def test_a_value_is_written_to_its_step(quantity: str, value: float | None, text: str) -> None:
    assert _number(quantity, value) == text


def test_relays_are_read_back(monkeypatch: pytest.MonkeyPatch) -> None:
    clock, twin = FakeClock(), A0Twin(answers=True)
    twin.contacts[0] = True
    driver = registry.relays()["relay-a0"]
    make: Callable[..., Any] = driver.Options
    entries = {
        name: RelayEntry(
            "relay-a0", registry.where(driver), make("/dev/x", 1, answers), "off", 1000
        )
        for name, answers in (("tells", True), ("mute", False))
    }
    settings = rooms.room(relays=entries)
    settings.parts.clear()
    found = list(findings(settings, wiring(clock, lambda *_: TwinPort(clock, twin)), switch=False))
    assert [(one["says"], one["state"]) for one in found] == [
        ("it is on", True),
        ("the port opens; this board cannot tell its state", None),
    ]
    assert twin.history == []
