"""The emulated bus where smbus2's i2c_msg objects meet it."""

import errno

import pytest
from smbus2 import i2c_msg

from fakes import FakeClock
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.sht import Sht4xTwin


def air(quantity):
    return {"temperature": 25.0, "humidity": 50.0}[quantity]


@pytest.fixture
def clock():
    return FakeClock()


@pytest.fixture
def bus(clock):
    made = EmulatedBus(clock.now)
    made.plug(Sht4xTwin(air))
    return made


def measured(bus, clock, size=6):
    bus.i2c_rdwr(i2c_msg.write(0x44, b"\xfd"))
    clock.time += 10
    message = i2c_msg.read(0x44, size)
    bus.i2c_rdwr(message)
    return bytes(message).hex(" ")


def test_read_buffers_are_filled(bus, clock):
    assert measured(bus, clock) == "66 66 93 72 b0 dc"


def test_more_than_the_part_gives_reads_as_an_idle_line(bus, clock):
    assert measured(bus, clock, 8) == "66 66 93 72 b0 dc ff ff"
    assert measured(bus, clock, 2) == "66 66"


def test_nobody_at_an_address(bus):
    for message in (i2c_msg.write(0x45, b"\xfd"), i2c_msg.read(0x45, 6)):
        with pytest.raises(OSError, match="Remote I/O") as caught:
            bus.i2c_rdwr(message)
        assert caught.value.errno == errno.EREMOTEIO


def test_plugging_and_unplugging(bus, clock):
    with pytest.raises(ValueError, match="0x44 is taken"):
        bus.plug(Sht4xTwin(air))
    bus.unplug(0x44)
    bus.unplug(0x44)
    with pytest.raises(OSError, match="Remote I/O"):
        bus.read(0x44, 6)
    bus.plug(Sht4xTwin(air))
    assert measured(bus, clock)


def test_faults_strike_as_often_as_asked(bus, clock):
    bus.fail(errno.EAGAIN, 0x44, times=2)
    for _ in range(2):
        with pytest.raises(OSError, match="temporarily") as caught:
            bus.write(0x44, b"\xfd")
        assert caught.value.errno == errno.EAGAIN
    assert measured(bus, clock)
    bus.fail(errno.EIO)
    for _ in range(5):
        with pytest.raises(OSError, match="Input/output"):
            bus.write(0x44, b"\xfd")
    bus.heal()
    assert measured(bus, clock)


def test_garbage_has_the_right_length(bus, clock):
    bus.garble(lambda data: bytes(len(data) + 5), times=1)
    assert measured(bus, clock) == "00 00 00 00 00 00"
    assert measured(bus, clock) == "66 66 93 72 b0 dc"


def test_several_messages_go_in_order_and_none_is_refused(bus):
    bus.i2c_rdwr(i2c_msg.write(0x44, b"\x94"))
    with pytest.raises(OSError, match="Invalid"):
        bus.i2c_rdwr()
    bus.close()
    bus.close()
    assert bus.calls == {0x44: 1}
