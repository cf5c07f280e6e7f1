"""SPS30 over I2C by byte pairs of protocols.md section 5, and on its twin."""

import math

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.sps30_i2c import Sps30I2CTwin
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.sps30 import Sps30I2C, sample

START = (("11 03", ""), ("01 04", ""), ("00 10 03 00 AC", ""))
NOT_READY, READY = ("02 02", "00 00 81"), ("02 02", "00 01 B0")
FLOATS = (
    "3F C0 ED 00 00 81 40 10 4B 00 00 81 40 20 8E 00 00 81 40 30 CD 00 00 81 41 20 7A 00 00 81 "
    "41 40 C1 00 00 81 41 48 78 00 00 81 41 4C BC 00 00 81 41 50 82 00 00 81 3F 00 AA 00 00 81"
)
HEALTHY, FAN_FAILED = ("D2 06", "00 00 81 00 00 81"), ("D2 06", "00 00 81 00 10 C2")
VALUES = (1.5, 2.25, 2.5, 2.75, 13.0, 3.0, 1.0, 0.5)
AIR = dict(zip(Sps30I2C.quantities, VALUES, strict=True))


def test_frame(script):
    wires = script(0x69, *START, NOT_READY, READY, ("03 00", FLOATS), HEALTHY)
    with Sps30I2C(Sps30I2C.Options(), wires) as part:
        assert part.read() is None
        assert part.read() == (pytest.approx(VALUES), "", None)


def test_what_ails_the_fan_is_told(script):
    wires = script(0x69, *START, READY, ("03 00", FLOATS), FAN_FAILED)
    with Sps30I2C(Sps30I2C.Options(), wires) as part:
        assert part.read().fault == "fan failed"


@pytest.mark.parametrize("odd", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_no_value(odd):
    assert sample([1.0] * 9 + [odd]).values == (None,) * 8


class Setup:
    def __init__(self):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.twin = Sps30I2CTwin(AIR.__getitem__)
        self.bus.plug(self.twin)
        self.part = Sps30I2C(Sps30I2C.Options(), wiring(self.clock, open_bus=lambda _: self.bus))

    def read_for(self, ms):
        found = []
        for _ in range(ms // 1000):
            self.clock.sleep_until(self.clock.now() + 1000)
            found.append(self.part.read())
        return [sample for sample in found if sample]

    def refused(self, order):
        with pytest.raises(OSError, match="Remote I/O"):
            self.bus.write(0x69, bytes.fromhex(order))


def test_driver_and_twin_agree_every_second():
    setup = Setup()
    with setup.part:
        found = setup.read_for(30_000)
    assert len(found) >= 28
    assert found[0].values == pytest.approx(VALUES)


LEFT = [["00 10 05 00 F6"], ["10 01"], ["00 10 03 00 AC", "01 04", "10 01"]]


@pytest.mark.parametrize("left", LEFT)
def test_whatever_state_another_program_left(left):
    setup = Setup()
    for order in left:
        setup.bus.write(0x69, bytes.fromhex(order))
        setup.clock.time += 50
    with setup.part:
        assert setup.read_for(3000)[0].values == pytest.approx(VALUES)


def test_an_absent_part_is_noticed_at_start():
    setup = Setup()
    setup.bus.unplug(0x69)
    with pytest.raises(NoAnswer):
        setup.part.start()


def test_ten_seconds_of_cleaning_are_no_silence():
    setup = Setup()
    with setup.part:
        setup.bus.write(0x69, b"\x56\x07")
        assert len(setup.read_for(20_000)) in range(9, 12)


def test_old_firmware_without_a_status_still_measures():
    setup = Setup()
    obey = setup.twin.obey

    def older(code, words, now):
        if code == 0xD206:
            raise OSError(121, "Remote I/O error")
        obey(code, words, now)

    setup.twin.obey = older
    with setup.part:
        assert setup.read_for(3000)[0].fault == ""


UNKNOWN = ["00 21", "00 10", "00 10 01 00 75", "00 10 03 00 AD", "12 34"]


def test_the_twin_refuses_what_its_state_forbids():
    setup = Setup()
    for order in [*UNKNOWN, "03 00", "02 02", "56 07"]:
        setup.refused(order)
    setup.bus.write(0x69, bytes.fromhex("00 10 03 00 AC"))
    setup.clock.time = 20
    for order in ["00 10 03 00 AC", "10 01"]:
        setup.refused(order)
    setup.bus.write(0x69, b"\x01\x04")
    setup.clock.time = 40
    setup.bus.write(0x69, b"\x10\x01")
    setup.refused("D2 06")
    setup.clock.time = 200
    setup.refused("11 03")
    setup.clock.time = 400
    setup.refused("11 03")
    setup.bus.write(0x69, b"\x11\x03")


@pytest.mark.parametrize(
    ("order", "reply"),
    [
        ("80 04", "00 09 09 3A 80 A7"),
        ("D0 02", "30 30 F6 30 38 4F 30 30 F6 30 30 F6"),
        ("D1 00", "02 02 3A"),
    ],
)
def test_the_twin_answers_as_the_reference_has_it(order, reply):
    setup = Setup()
    setup.bus.write(0x69, bytes.fromhex(order))
    setup.clock.time = 5
    assert setup.bus.read(0x69, len(reply.split())) == bytes.fromhex(reply)


def test_the_twin_measures_as_the_reference_has_it():
    setup = Setup()
    setup.bus.write(0x69, bytes.fromhex("00 10 03 00 AC"))
    setup.clock.time = 1000
    setup.bus.write(0x69, b"\x03\x00")
    setup.clock.time = 1001
    assert setup.bus.read(0x69, 60)[:18] == bytes.fromhex(FLOATS)[:18]
    setup.bus.write(0x69, bytes.fromhex("80 04 00 00 81 00 00 81"))
    assert setup.twin.interval_s == 0
    setup.clock.time = 1100
    setup.refused("80 04 00 00 81")
