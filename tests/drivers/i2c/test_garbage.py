"""Whatever comes back over I2C, a driver gives a checked value, nothing, or a driver error."""

import ctypes
import errno

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fakes import FakeClock, wiring
from ventwright_drivers import registry
from ventwright_drivers.checksums import crc8_word
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.errors import DriverError
from ventwright_drivers.i2c.link import I2CPart
from ventwright_drivers.quantities import QUANTITIES

PARTS = {name: part for name, part in registry.parts().items() if issubclass(part, I2CPart)}
AIR = dict.fromkeys(QUANTITIES, 40.0) | {
    "voc_index": 90.0,
    "nox_index": 1.0,
    "voc_raw": 3e4,
    "nox_raw": 18e3,
}
ERRORS = st.sampled_from([errno.EREMOTEIO, errno.ENXIO, errno.EIO, errno.EBUSY, errno.ENODEV, 9999])
REPLIES = st.one_of(st.binary(max_size=80), ERRORS)


class RandomBus:
    """Takes every write, and answers every read with the next bytes or error of a list."""

    def __init__(self, replies):
        self.replies = list(replies)

    def i2c_rdwr(self, message):
        reply = self.replies.pop(0) if message.flags and self.replies else b""
        if isinstance(reply, int):
            raise OSError(reply, "injected")
        data = reply[: message.len].ljust(message.len, b"\xff")
        if message.flags:
            ctypes.memmove(message.buf, data, message.len)

    def close(self):
        pass


@pytest.mark.parametrize("model", PARTS)
@given(replies=st.lists(REPLIES, max_size=12))
def test_random_replies_raise_nothing_but_driver_errors(model, replies):
    clock = FakeClock()
    part = PARTS[model](
        PARTS[model].Options(), wiring(clock, open_bus=lambda _: RandomBus(replies))
    )
    for _ in range(4):
        try:
            part.start()
            sample = part.read()
        except DriverError:
            continue
        assert sample is None or len(sample.values) == len(part.quantities)
    part.close()


def flipped(place, mask):
    def change(data):
        spoilt = bytearray(data)
        spoilt[place % len(spoilt)] ^= mask
        return bytes(spoilt)

    return change


@pytest.mark.parametrize("model", PARTS)
@given(place=st.integers(0, 63), mask=st.integers(1, 255))
def test_a_wrong_crc_never_yields_a_value(model, place, mask):
    clock = FakeClock()
    bus = EmulatedBus(clock.now)
    bus.plug(registry.twins()[model](AIR.__getitem__))
    with PARTS[model](PARTS[model].Options(), wiring(clock, open_bus=lambda _: bus)) as part:
        clock.sleep_until(clock.now() + 5000)
        bus.garble(flipped(place, mask))
        assert part.read() is None
        bus.heal()
        clock.sleep_until(clock.now() + 5000)
        assert part.read() is not None


def test_the_flip_is_one_that_the_crc_sees():
    assert crc8_word(flipped(0, 1)(b"\x66\x66\x93")[:2]) != 0x93
