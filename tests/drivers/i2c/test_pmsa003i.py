"""PMSA003I with the frames of protocols.md section 2, and on its twin."""

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.pmsa003i import Pmsa003ITwin
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.pmsa003i import Pmsa003I

FRAME = (
    "42 4D 00 1C 00 1B 00 21 00 29 00 1A 00 21 00 29 "
    "2B FB 04 BE 00 6B 00 10 00 04 00 04 67 00 04 46"
)
DAMAGED = FRAME.replace("2B FB", "2B FA")
AIR = {"pm1": 26, "pm2_5": 33, "pm10": 41}
AIR |= {"n0_3": 112.59, "n0_5": 12.14, "n1": 1.07, "n2_5": 0.16, "n5": 0.04, "n10": 0.04}


def test_frame(script):
    with Pmsa003I(Pmsa003I.Options(), script(0x12, ("", FRAME))) as part:
        assert dict(zip(part.quantities, part.read().values, strict=True)) == pytest.approx(AIR)


def test_a_damaged_frame_gives_nothing_and_the_next_one_does(script):
    wires = script(0x12, ("", DAMAGED), ("", DAMAGED), ("", FRAME))
    with Pmsa003I(Pmsa003I.Options(), wires) as part:
        assert part.read() is None
        with pytest.raises(NoAnswer, match="0x12 sent garbage: 42 4d"):
            part.measure()
        assert part.read() is not None


def test_driver_and_twin_agree_and_the_error_byte_is_told():
    clock = FakeClock()
    bus = EmulatedBus(clock.now)
    twin = Pmsa003ITwin(AIR.__getitem__)
    bus.plug(twin)
    with Pmsa003I(Pmsa003I.Options(), wiring(clock, open_bus=lambda _: bus)) as part:
        assert part.read().values == pytest.approx(tuple(AIR.values()))
        twin.error = 0x40
        assert part.read().fault == ""  # the frame that it holds is still the old one
        clock.sleep_until(clock.now() + part.period_ms)
        assert part.read().fault == "error byte 40"
    with pytest.raises(OSError, match="Remote I/O"):
        bus.write(0x12, b"\x00")


def test_the_twin_holds_a_frame_until_the_next_is_measured():
    clock = FakeClock()
    level = dict(AIR)
    twin = Pmsa003ITwin(level.__getitem__, powered_at=0, power_up_ms=1000)
    with pytest.raises(OSError, match="Remote I/O"):
        twin.read(32, clock.now())
    first = twin.read(32, 1000)
    level["pm1"] = 99
    assert twin.read(32, 3299) == first
    assert twin.read(32, 3300) != first
