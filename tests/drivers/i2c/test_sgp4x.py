"""SGP40 and SGP41 by byte pairs of protocols.md section 15, and on their twins."""

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.sgp4x import Sgp40Twin, Sgp41Twin
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.sgp4x import Sgp40, Sgp41

OFF = ("36 15", "")
CLIMATE = " 80 00 A2 66 66 93"
CONDITION = ("26 12" + CLIMATE, "75 30 08")
AIR = {"voc_raw": 30_000.0, "nox_raw": 18_000.0}


def test_sgp40_frame(script):
    with Sgp40(Sgp40.Options(), script(0x59, OFF, ("26 0F" + CLIMATE, "75 30 08"))) as part:
        assert part.read().values == (30_000,)


def test_sgp41_conditions_ten_times_and_then_measures(script):
    measure = ("26 19" + CLIMATE, "75 30 08 46 50 2C")
    with Sgp41(Sgp41.Options(), script(0x59, OFF, *[CONDITION] * 10, measure)) as part:
        assert [part.read().values for _ in range(10)] == [(30_000, None)] * 10
        assert part.read().values == (30_000, 18_000)


def rig(twin):
    clock = FakeClock()
    bus = EmulatedBus(clock.now)
    bus.plug(twin)
    return clock, bus, wiring(clock, open_bus=lambda _: bus)


@pytest.mark.parametrize(("driver", "twin"), [(Sgp40, Sgp40Twin), (Sgp41, Sgp41Twin)])
def test_driver_and_twin_agree(driver, twin):
    emulated = twin(AIR.__getitem__)
    clock, _, wires = rig(emulated)
    with driver(driver.Options(), wires) as part:
        for _ in range(12):
            clock.sleep_until(clock.now() + 1000)
            last = part.read()
        assert last.values == tuple(AIR[name] for name in part.quantities)
    assert emulated.climate == (0x8000, 0x6666)


def test_a_part_that_comes_and_goes_is_not_conditioned_for_ever():
    twin = Sgp41Twin(AIR.__getitem__)
    _, _, wires = rig(twin)
    part = Sgp41(Sgp41.Options(), wires)
    for _ in range(30):
        part.start()
        part.read()
        part.close()
    assert twin.conditionings == 10


@pytest.mark.parametrize("driver", [Sgp40, Sgp41])
def test_an_absent_part_is_noticed_at_start(driver):
    _, bus, wires = rig(Sgp40Twin(AIR.__getitem__))
    bus.unplug(0x59)
    with pytest.raises(NoAnswer):
        driver(driver.Options(), wires).start()


UNKNOWN = ["26 0F", "26 19" + CLIMATE, "26 0F" + CLIMATE[:-3] + " 94", "36 15 00 00 81", "12 34"]


@pytest.mark.parametrize("order", UNKNOWN)
def test_what_an_sgp40_does_not_know_is_refused(order):
    _, bus, _ = rig(Sgp40Twin(AIR.__getitem__))
    with pytest.raises(OSError, match="Remote I/O"):
        bus.write(0x59, bytes.fromhex(order))


@pytest.mark.parametrize(("twin", "word"), [(Sgp40Twin, "d4 00 c6"), (Sgp41Twin, "00 00 81")])
def test_self_test_and_heater(twin, word):
    emulated = twin(AIR.__getitem__)
    clock, bus, _ = rig(emulated)
    bus.write(0x59, b"\x28\x0e")
    clock.time = 320
    assert bus.read(0x59, 3).hex(" ") == word
    code = "26 0F" if twin is Sgp40Twin else "26 19"
    bus.write(0x59, bytes.fromhex(code + CLIMATE))
    clock.time = 400
    assert emulated.heater
    bus.write(0x59, b"\x36\x15")
    assert not emulated.heater
