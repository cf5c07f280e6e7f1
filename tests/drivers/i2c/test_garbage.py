"""Whatever comes back over I2C, a driver gives a checked value, nothing, or a driver error."""

import ctypes
import dataclasses
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
from ventwright_drivers.i2c.register_part import RegisterPart
from ventwright_drivers.quantities import QUANTITIES

PARTS = {name: part for name, part in registry.parts().items() if issubclass(part, I2CPart)}
GUARDED = [name for name, part in PARTS.items() if not issubclass(part, RegisterPart)]
BARE = [name for name in PARTS if name not in GUARDED]
"""Parts without a checksum, which read twice what counts."""

WRITTEN_DOWN = {"quantity": "co", "zero_mv": 400.0, "mv_per_unit": 10.0}
AIR = dict.fromkeys(QUANTITIES, 40.0) | {
    "voc_index": 90.0,
    "nox_index": 1.0,
    "voc_raw": 3e4,
    "nox_raw": 18e3,
    "eco2": 612.0,
    "gas_resistance": 1500.0,
    "pressure": 987.0,
}


def options(model):
    fields = {field.name for field in dataclasses.fields(PARTS[model].Options)}
    return PARTS[model].Options(**{k: v for k, v in WRITTEN_DOWN.items() if k in fields})


ERRORS = st.sampled_from([errno.EREMOTEIO, errno.ENXIO, errno.EIO, errno.EBUSY, errno.ENODEV, 9999])
REPLIES = st.one_of(st.binary(max_size=80), ERRORS)


class RandomBus:
    """Takes every write, and answers every read with the next bytes or error of a list."""

    def __init__(self, replies):
        self.replies = list(replies)

    def i2c_rdwr(self, *messages):
        for message in messages:
            self.play(message)

    def play(self, message):
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
    part = PARTS[model](options(model), wiring(clock, open_bus=lambda _: RandomBus(replies)))
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


@pytest.mark.parametrize("model", GUARDED)
@given(place=st.integers(0, 63), mask=st.integers(1, 255))
def test_a_wrong_crc_never_yields_a_value(model, place, mask):
    clock = FakeClock()
    bus = EmulatedBus(clock.now)
    bus.plug(registry.twins()[model](AIR.__getitem__))
    with PARTS[model](options(model), wiring(clock, open_bus=lambda _: bus)) as part:
        clock.sleep_until(clock.now() + 5000)
        bus.garble(flipped(place, mask))
        assert part.read() is None
        bus.heal()
        clock.sleep_until(clock.now() + 5000)
        assert part.read() is not None


def after(calls, change):
    """Change one reply, after so many that are left alone."""
    left = [calls]

    def fault(data):
        left[0] -= 1
        return change(data) if left[0] == -1 else data

    return fault


@pytest.mark.parametrize("model", BARE)
@given(calls=st.integers(0, 6), place=st.integers(0, 31), mask=st.integers(1, 255))
def test_one_garbled_transfer_never_yields_a_wrong_value(model, calls, place, mask):
    clock = FakeClock()
    bus = EmulatedBus(clock.now)
    bus.plug(registry.twins()[model](AIR.__getitem__))
    with PARTS[model](options(model), wiring(clock, open_bus=lambda _: bus)) as part:
        clock.sleep_until(clock.now() + 200_000)
        part.read()
        clock.sleep_until(clock.now() + 5000)
        right = [AIR[name] for name in part.quantities]
        bus.garble(after(calls, flipped(place, mask)))
        sample = part.read()
        if sample and None not in sample.values:
            assert sample.values == pytest.approx(right, abs=0.5)
        bus.heal()
        clock.sleep_until(clock.now() + 5000)
        assert part.read().values == pytest.approx(right, abs=0.5)


def test_the_flip_is_one_that_the_crc_sees():
    assert crc8_word(flipped(0, 1)(b"\x66\x66\x93")[:2]) != 0x93
