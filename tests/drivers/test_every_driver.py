"""Rules that every driver keeps, whoever wrote it: run over all that the registry finds."""

import ast
import contextlib
import dataclasses
import inspect
import random
import re
import sys
import textwrap
import typing
from collections.abc import Iterator
from typing import Any

import pytest
from smbus2.smbus2 import I2C_M_RD

from fakes import FakeClock, TwinPort, nothing, wiring
from ventwright_drivers import registry
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.gpio_chip import EmulatedChip
from ventwright_drivers.emulated.twin import I2CTwin, LineTwin, SerialTwin
from ventwright_drivers.errors import DeviceLost, DriverError, NoAnswer, Refused
from ventwright_drivers.i2c.link import I2CPart
from ventwright_drivers.part import Device, Part, Relay, Sample
from ventwright_drivers.quantities import QUANTITIES

PARTS = registry.parts()
RELAYS = registry.relays()
TWINS = registry.twins()
every_part = pytest.mark.parametrize("driver", PARTS.values(), ids=PARTS)
every_relay = pytest.mark.parametrize("driver", RELAYS.values(), ids=RELAYS)
every_driver = pytest.mark.parametrize(
    "driver", [*PARTS.values(), *RELAYS.values()], ids=[*PARTS, *RELAYS]
)

QUESTION_MS, START_MS = 6, 50
"""What README.md says that a part which is not there costs the others of its bus."""

WITHOUT_TWIN = {"relay-gpio"}
"""No wire, so no twin: emulated/gpio_chip.py stands for the kernel. Let this list not grow."""

AIR = {
    name: min(max(20.0, quantity.lowest), quantity.highest) for name, quantity in QUANTITIES.items()
}
AIR |= {"eco2": 450.0, "gas_resistance": 1500.0}  # the parts that give these go no lower
GIVEN = {"port": "/dev/twin", "line": 17}
GIVEN |= {"quantity": "co", "zero_mv": 400.0, "mv_per_unit": 10.0}


USES = {"write", "read", "i2c_rdwr"}
USES |= {"set_value", "get_value", "wait_edge_events", "read_edge_events"}


class Wires:
    """All three kinds of wire with a twin on each, which count calls and fail at one of them."""

    def __init__(
        self, driver: type[Device], fail_at: int = -1, *, keeps_level: bool = False
    ) -> None:
        self.clock = FakeClock(1000)
        self.calls = 0
        self.fail_at = fail_at
        self.open = 0
        self.there = True
        self.garbling = False
        self.garbled = 0
        self.random = random.Random(driver.model)
        self.chip = EmulatedChip(self.clock.now, keeps_level=keeps_level)
        twin = TWINS.get(driver.model)
        self.twin = twin and twin(*([AIR.__getitem__] if driver.model in PARTS else []))
        if isinstance(self.twin, LineTwin):
            self.chip.attach(GIVEN["line"], self.twin)
        self.wiring = wiring(self.clock, self._port, self._bus, self._lines)

    def step(self) -> None:
        self.calls += 1
        if self.calls == self.fail_at:
            raise OSError(5, "Input/output error")

    def _opened(self, inner: Any) -> Any:
        self.open += 1
        return Wire(self, inner)

    def _port(self, *_: Any) -> Any:
        assert isinstance(self.twin, SerialTwin)
        self.step()
        return self._opened(Noisy(self, TwinPort(self.clock, self.twin)))

    def _bus(self, number: int) -> Any:
        assert isinstance(self.twin, I2CTwin)
        self.step()
        self.bus = EmulatedBus(self.clock.now)
        if self.there:
            self.bus.plug(self.twin)
        return self._opened(Noisy(self, self.bus))

    def _lines(self, *args: Any, **options: Any) -> Any:
        self.step()
        return self._opened(self.chip.request_lines(*args, **options))

    def touched(self) -> bool:
        """Tell whether a relay behind these wires was ever commanded."""
        return bool(getattr(self.twin, "history", [])) or bool(self.chip.history)

    def garble(self, data: bytes) -> bytes:
        """Flip one bit of what comes over the wire, while that is wanted."""
        if not self.garbling or not data:
            return data
        spoilt = bytearray(data)
        spoilt[self.random.randrange(len(data))] ^= 1 << self.random.randrange(8)
        self.garbled += 1
        return bytes(spoilt)


class Noisy:
    """What a serial port or a bus gives, with a bit flipped now and then."""

    def __init__(self, wires: Wires, inner: Any) -> None:
        self._wires, self._inner = wires, inner

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def read(self, size: int) -> bytes:
        return self._wires.garble(self._inner.read(size))

    def i2c_rdwr(self, *messages: Any) -> None:
        self._inner.i2c_rdwr(*messages)
        for message in messages:
            if message.flags & I2C_M_RD:
                for at, byte in enumerate(self._wires.garble(bytes(message))):
                    message.buf[at] = bytes((byte,))


class Wire:
    """One open wire: every use is a step, closing it is counted."""

    def __init__(self, wires: Wires, inner: Any) -> None:
        self._wires = wires
        self._inner = inner

    def __getattr__(self, name: str) -> Any:
        if name in USES:
            self._wires.step()
        return getattr(self._inner, name)

    def close(self) -> None:
        self._wires.open -= 1
        self._inner.close()

    def release(self) -> None:
        self._wires.open -= 1
        self._inner.release()


def options(driver: type[Device]) -> Any:
    names = {field.name for field in dataclasses.fields(driver.Options)}
    return driver.Options(**{name: value for name, value in GIVEN.items() if name in names})


def read_on(part: Part, times: int) -> None:
    for _ in range(times):
        part.read()
        part.clock.sleep_until(part.clock.now() + part.period_ms)


def documented_fields(cls: type) -> Iterator[str]:
    for base in cls.__mro__[:-1]:
        body = ast.parse(textwrap.dedent(inspect.getsource(base))).body[0]
        assert isinstance(body, ast.ClassDef)
        for field, text in zip(body.body, body.body[1:], strict=False):
            if isinstance(field, ast.AnnAssign) and isinstance(text, ast.Expr):
                assert isinstance(field.target, ast.Name)
                yield field.target.id


@every_driver
def test_module_and_class_say_what_they_are_and_where_it_is_from(driver: type[Device]) -> None:
    module = sys.modules[driver.__module__].__doc__ or ""
    assert "Source:" in module
    assert (vars(driver)["__doc__"] or "").split("\n")[0].endswith(".")


@every_driver
def test_the_model_is_a_plain_name(driver: type[Device]) -> None:
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", driver.model)
    assert not re.search(r"\dx", driver.model), "a wildcard is no part number"


@every_part
def test_quantities_are_known_and_times_make_sense(driver: type[Part]) -> None:
    assert driver.quantities
    assert len(set(driver.quantities)) == len(driver.quantities)
    assert set(driver.quantities) <= set(QUANTITIES)
    assert 0 < driver.period_ms <= driver.silence_ms
    assert driver.warm_up_ms >= 0
    assert set(driver.settle_ms) <= set(driver.quantities)
    assert all(ms > driver.warm_up_ms for ms in driver.settle_ms.values())
    assert driver.optical_mass == any(name.startswith("pm") for name in driver.quantities)


@every_driver
def test_options_are_frozen_typed_and_explained(driver: type[Device]) -> None:
    assert dataclasses.is_dataclass(driver.Options)
    assert driver.Options.__doc__
    hints = typing.get_type_hints(driver.Options)
    names = {field.name for field in dataclasses.fields(driver.Options)}
    assert names
    assert all(hints[name] is not Any for name in names)
    assert names <= set(documented_fields(driver.Options))
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(options(driver), names.pop(), 1)


@every_driver
def test_a_driver_is_loaded_by_where_it_is(driver: type[Device]) -> None:
    assert registry.load(registry.where(driver)) is driver


def test_every_driver_has_a_twin_and_every_twin_a_driver() -> None:
    known = {*PARTS, *RELAYS}
    assert known - set(TWINS) == WITHOUT_TWIN
    assert set(TWINS) <= known


@every_driver
def test_building_touches_nothing_and_closing_is_always_allowed(driver: type[Device]) -> None:
    device = driver(options(driver), wiring(FakeClock()))
    device.close()
    device.close()


@every_driver
def test_what_is_not_there_is_lost(driver: type[Device]) -> None:
    device = driver(options(driver), wiring(FakeClock(), nothing, nothing, nothing))
    with pytest.raises(DeviceLost):
        device.start()
    device.close()


@every_driver
def test_it_starts_twice_closes_twice_and_starts_again(driver: type[Device]) -> None:
    wires = Wires(driver)
    device = driver(options(driver), wires.wiring)
    device.start()
    device.start()
    assert wires.open == 1
    device.close()
    device.close()
    assert wires.open == 0
    with device:
        assert wires.open == 1
    assert wires.open == 0


@every_driver
def test_a_start_that_fails_anywhere_leaves_it_closed_and_ready_to_start(
    driver: type[Device],
) -> None:
    whole = Wires(driver)
    driver(options(driver), whole.wiring).start()
    assert whole.calls
    for step in range(1, whole.calls + 1):
        wires = Wires(driver, fail_at=step)
        device = driver(options(driver), wires.wiring)
        try:
            device.start()
        except DriverError:
            assert wires.open == 0, f"step {step} of the start leaves the wire open"
        wires.fail_at = -1
        with device:
            assert wires.open == 1


@every_part
def test_it_measures_what_its_twin_breathes(driver: type[Part]) -> None:
    wires = Wires(driver)
    with driver(options(driver), wires.wiring) as part:
        part.place.encode()
        sample = settled(wires, part)
    assert sample is not None
    assert sample.fault == ""
    assert sample.values == pytest.approx([AIR[name] for name in part.quantities], abs=0.5)


def settled(wires: Wires, part: Part) -> Sample | None:
    """Read a part until it is past its warm-up; gives the last sample."""
    settling = [ms for ms in part.settle_ms.values() if ms <= 600_000]  # spares us hours
    return last(wires, part, 30_000 + max(part.warm_up_ms, *settling, 0))


def last(wires: Wires, part: Part, for_ms: int) -> Sample | None:
    end, sample = wires.clock.now() + for_ms, None
    while wires.clock.now() < end:
        sample = part.read() or sample
        if not part.paced_by_part:
            wires.clock.sleep_until(wires.clock.now() + part.period_ms)
    return sample


UNCHECKED = {model for model, driver in PARTS.items() if not driver.checked}


@pytest.mark.parametrize("model", sorted({*PARTS} - {"tacho-gpio"}))
def test_a_bit_that_falls_over_is_no_value_and_the_next_good_frame_is(model: str) -> None:
    driver = PARTS[model]
    wires = Wires(driver)
    with driver(options(driver), wires.wiring) as part:
        true = settled(wires, part)
        assert true is not None
        wires.garbling, end = True, wires.clock.now() + 8 * part.period_ms
        while wires.clock.now() < end:
            with contextlib.suppress(NoAnswer, Refused):
                sample = part.read()
                assert model in UNCHECKED or sample in (None, true)
            wires.clock.sleep_until(wires.clock.now() + part.period_ms)
        assert wires.garbled > 3
        wires.garbling = False
        with contextlib.suppress(NoAnswer, Refused):
            part.read()  # what was garbled before may still be told
        assert last(wires, part, 5 * part.period_ms) == true


@pytest.mark.parametrize(
    "driver", [one for one in PARTS.values() if issubclass(one, I2CPart)], ids=lambda one: one.model
)
def test_a_dead_address_costs_its_bus_no_more_than_is_stated(driver: type[I2CPart]) -> None:
    wires = Wires(driver)
    with driver(options(driver), wires.wiring) as part:
        last(wires, part, 8 * part.period_ms)
        wires.bus.unplug(part.options.address)
        wires.there = False
        before = wires.clock.now()
        part.read()
        assert wires.clock.now() - before == QUESTION_MS
        before = wires.clock.now()
        with contextlib.suppress(NoAnswer):
            part.start()
        assert wires.clock.now() - before <= START_MS


@every_part
def test_losing_it_while_reading_is_lost_and_it_comes_back(driver: type[Part]) -> None:
    wires = Wires(driver)
    with driver(options(driver), wires.wiring) as part:
        wires.fail_at = wires.calls + 1
        with pytest.raises(DeviceLost):
            read_on(part, 3)
        part.close()
        assert wires.open == 0
        part.start()
        part.read()


@every_relay
def test_building_starting_and_closing_never_command_a_relay(driver: type[Relay]) -> None:
    wires = Wires(driver)
    device = driver(options(driver), wires.wiring)
    device.start()
    device.start()
    assert not wires.touched()
    device.close()
    assert not wires.touched()


@every_relay
def test_it_switches(driver: type[Relay]) -> None:
    wires = Wires(driver)
    with driver(options(driver), wires.wiring) as device:
        for on in (True, False, True):
            device.switch(on)
            assert device.state() in (on, None)
        assert wires.touched()


@every_relay
def test_a_relay_that_is_lost_says_so(driver: type[Relay]) -> None:
    wires = Wires(driver)
    with driver(options(driver), wires.wiring) as device:
        wires.fail_at = wires.calls + 1
        with pytest.raises(DeviceLost):
            device.switch(True)
    assert wires.open == 0
    with pytest.raises(DeviceLost):
        device.switch(True)
