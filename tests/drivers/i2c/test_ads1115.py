"""ADS1115 by byte pairs of protocols.md section 20, and on its twin."""

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.ads1115 import Ads1115Twin, Element
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.ads1115 import Ads1115, config, decode, value

CO = {"quantity": "co", "zero_mv": 400.0, "mv_per_unit": 10.0}
HERE = ("01", "85 83")


def options(**changed):
    return Ads1115.Options(**{**CO, **changed})


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({}, 0xC383),
        ({"input": 1}, 0xD383),
        ({"input": 2}, 0xE383),
        ({"input": 3}, 0xF383),
        ({"full_scale": 6144}, 0xC183),
        ({"full_scale": 256}, 0xCB83),
    ],
)
def test_one_conversion_of_an_input(changed, word):
    assert config(options(**changed)) == word


@pytest.mark.parametrize(
    ("raw", "full_scale", "mv"),
    [
        ("27 10", 4096, 1250.0),
        ("64 00", 4096, 3200.0),
        ("FF FF", 4096, -0.125),
        ("80 01", 2048, -2047.9375),
        ("7F FE", 6144, 6143.625),
        ("7F FF", 4096, None),
        ("80 00", 4096, None),
    ],
)
def test_voltages_are_signed_and_the_ends_are_beyond(raw, full_scale, mv):
    assert decode(bytes.fromhex(raw), full_scale) == mv


def test_start_and_read(script):
    order, busy, ready = ("01 C3 83", ""), ("01", "43 83"), ("01", "C3 83")
    result = ("00", "27 10")
    wires = script(0x48, HERE, order, busy, busy, ready, result, result)
    with Ads1115(options(), wires) as part:
        assert part.quantities == ("co",)
        assert part.read() == ((85.0,), "", None)


def test_another_input_at_another_address(script):
    order, ready, result = ("01 E1 83", ""), ("01", "E1 83"), ("00", "27 10")
    wires = script(0x4B, HERE, order, ready, result, result)
    chosen = options(address=0x4B, input=2, full_scale=6144, quantity="tvoc", mv_per_unit=-2.0)
    with Ads1115(chosen, wires) as part:
        assert part.quantities == ("tvoc",)
        assert part.read().values == (pytest.approx((1875 - 400) / -2),)


@pytest.mark.parametrize(
    ("mv", "ppm"), [(600.0, 20.0), (400.0, 0.0), (390.0, 0.0), (389.0, -1.1), (0.0, -40.0)]
)
def test_a_drifted_zero_is_zero_and_a_dead_element_is_not(mv, ppm):
    assert value(mv, options()) == pytest.approx(ppm)


@pytest.mark.parametrize("mv", [-0.1, 0.0, 5001.0])
def test_no_resistance_without_a_voltage_that_can_be(mv):
    chosen = Ads1115.Options(quantity="gas_resistance", load=10_000.0)
    assert value(mv, chosen) is None
    assert value(1000.0, chosen) == 40_000.0
    assert value(5000.0, chosen) == 0.0


@pytest.mark.parametrize(
    ("bad", "reason"),
    [
        ({"quantity": "gas_resistance"}, "gas_resistance needs load"),
        ({"zero_mv": None}, "co needs zero_mv, and mv_per_unit other than 0"),
        ({"mv_per_unit": None}, "co needs zero_mv"),
        ({"mv_per_unit": 0.0}, "co needs zero_mv"),
    ],
)
def test_a_calibration_that_is_none_is_refused(bad, reason):
    with pytest.raises(ValueError, match=reason):
        options(**bad)


class Rig:
    def __init__(self, *elements):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.air = {"co": 20.0, "hcho": 80.0}
        self.twin = Ads1115Twin(self.air.__getitem__, elements=dict(enumerate(elements)))
        self.bus.plug(self.twin)
        self.wires = wiring(self.clock, open_bus=lambda _: self.bus)


def test_two_elements_of_one_converter_never_show_each_others_value():
    rig = Rig(Element("co", 400.0, 10.0), Element("hcho", 100.0, 2.0))
    first = Ads1115(options(), rig.wires)
    second = Ads1115(options(input=1, quantity="hcho", zero_mv=100.0, mv_per_unit=2.0), rig.wires)
    with first, second:
        for co in (20.0, 25.0, 30.0):
            rig.air["co"] = co
            assert first.read().values == pytest.approx((co,), abs=0.01)
            assert second.read().values == pytest.approx((80.0,), abs=0.1)


def test_a_result_that_is_not_ours_is_no_sample():
    rig = Rig(Element("co", 400.0, 10.0))
    with Ads1115(options(), rig.wires) as part:
        write = rig.twin.write
        rig.twin.write = lambda data, now: write(data.replace(b"\xc3", b"\xd3"), now)
        assert part.read() is None  # somebody switched to the next input
        rig.clock.time += 10_000
        with pytest.raises(NoAnswer, match="0x48 does not convert, or somebody else sets it up"):
            part.read()


def test_an_overdriven_input_is_a_fault():
    rig = Rig(Element("co", 4200.0, 10.0))
    with Ads1115(options(), rig.wires) as part:
        assert part.read() == ((None,), "input 0 is beyond ±4.096 V", None)


def test_the_twin_keeps_the_old_result_until_the_conversion_is_over():
    rig = Rig(Element("co", 400.0, 10.0))
    bus = rig.bus
    bus.write(0x48, b"\x01\xc3\x83")
    for at, result, status in ((7, b"\0\0", b"\x43"), (8, b"\x12\xc0", b"\xc3")):
        rig.clock.time = at
        bus.write(0x48, b"\x01")
        assert bus.read(0x48, 1) == status
        bus.write(0x48, b"\x00")
        assert bus.read(0x48, 2) == result
    for strange in (b"", b"\x04", b"\x01\x00"):
        with pytest.raises(OSError, match="Remote I/O"):
            bus.write(0x48, strange)
