"""ENS160 by byte pairs of protocols.md section 18, and on its twin."""

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.ens160 import Ens160Twin
from ventwright_drivers.errors import NoAnswer, Refused
from ventwright_drivers.i2c.ens160 import Ens160, decode, encode_climate
from ventwright_drivers.part import Sample

ID, ASLEEP, RUNNING = [("00", "60 01"), ("10", "00"), ("10", "02")]
CLIMATE = ("13 8A 4A 00 64", "")
START = (ID, ID, ASLEEP, ("10 01", ""), ("10 02", ""), CLIMATE)
NEWS, NO_NEWS, OFF = ("20", "83"), ("20", "81"), ("20", "02")
DATA = ("20", "81 02 AE 00 94 02")  # a real capture
AIR = {"tvoc": 174.0, "eco2": 660.0}


def test_start_and_read(script):
    wires = script(0x53, *START, NO_NEWS, NEWS, DATA, DATA)
    with Ens160(Ens160.Options(), wires) as part:
        assert part.read() is None
        assert part.read() == ((174, 660), "", None)


def test_one_that_runs_is_not_stopped(script):
    with Ens160(Ens160.Options(), script(0x53, ID, ID, RUNNING, CLIMATE)):
        pass


def test_the_address_and_the_air_are_options(script):
    wires = script(0x52, ID, ID, RUNNING, ("13 13 46 00 3C", ""))
    options = Ens160.Options(address=0x52, temperature=7.15, humidity=30.0)
    with Ens160(options, wires):
        pass


def test_compensation_is_rounded_and_its_low_byte_first():
    assert encode_climate(25, 50) == bytes.fromhex("8A 4A 00 64")  # 4A89 where truncated
    assert encode_climate(-40, 100) == bytes.fromhex("4A 3A 00 C8")


def test_what_does_not_run_has_nothing_new(script):
    wires = script(0x53, ID, ID, RUNNING, CLIMATE, OFF, ("20", "00"))
    with Ens160(Ens160.Options(), wires) as part:
        assert part.read() is None
        assert part.read() is None


@pytest.mark.parametrize(
    ("status", "fault"),
    [
        ("85", ""),
        ("89", "first start-up: it gives values an hour after it was first switched on"),
        ("8D", "it says that its values are not valid"),
        ("C1", "it reports an error"),
        ("C5", "it reports an error"),
    ],
)
def test_values_that_the_part_does_not_stand_by_are_none(status, fault):
    assert decode(bytes.fromhex(status + "02 AE 00 94 02")) == Sample((None, None), fault)


@pytest.mark.parametrize(
    ("raw", "values"),
    [
        ("E8 FD 90 01", (65_000, 400)),
        ("E9 FD 8F 01", (None, None)),
        ("FF FF FF FF", (None, None)),
        ("00 00 E8 FD", (0, 65_000)),
    ],
)
def test_values_that_the_part_cannot_put_out_are_none(raw, values):
    assert decode(bytes.fromhex("81 01" + raw)).values == values


def test_another_part_at_the_address_is_refused(script):
    wires = script(0x53, *[("00", "61 01")] * 2)
    with pytest.raises(Refused, match="0x53 has no ENS160: part id 0161, not 0160"):
        Ens160(Ens160.Options(), wires).start()


class Rig:
    def __init__(self, **options):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.twin = Ens160Twin(AIR.__getitem__, **options)
        self.bus.plug(self.twin)
        self.part = Ens160(Ens160.Options(), wiring(self.clock, open_bus=lambda _: self.bus))

    def read_for(self, ms, every=250):
        until = self.clock.now() + ms
        found = []
        while self.clock.now() < until:
            self.clock.sleep_until(self.clock.now() + every)
            found.append(self.part.read())
        return [sample for sample in found if sample]


def test_once_a_second_and_none_until_the_part_is_warm():
    rig = Rig()
    with rig.part:
        cold, warm = rig.read_for(58_000), rig.read_for(20_000)
    assert {sample.values for sample in cold} == {(None, None)}
    assert 56 <= len(cold) <= 59
    assert warm[-1] == ((174, 660), "", None)
    assert 18 <= len(warm) <= 21


def test_a_part_that_lost_power_is_started_again():
    rig = Rig(warm_up_ms=0)
    with rig.part:
        assert rig.read_for(2000)
        rig.twin.poke(0x10, 0xF0, rig.clock.now())
        with pytest.raises(NoAnswer, match="nothing valid for 10 s: it has nothing new"):
            rig.read_for(11_000)
        rig.part.close()
        rig.part.start()
        assert rig.read_for(2000)


def test_the_twin_shows_news_once_and_answers_in_idle_only():
    rig = Rig(warm_up_ms=0)
    bus = rig.bus
    bus.write(0x53, b"\x10\x02")
    rig.clock.time = 999
    bus.write(0x53, b"\x20")
    assert bus.read(0x53, 1) == b"\x80"
    rig.clock.time = 1000
    for _ in range(2):  # looking at the status alone leaves the news
        bus.write(0x53, b"\x20")
        assert bus.read(0x53, 1) == b"\x82"
    bus.write(0x53, b"\x20")
    assert bus.read(0x53, 6) == bytes.fromhex("80 02 AE 00 94 02")
    for mode, version in ((b"\x10\x02", bytes(3)), (b"\x10\x01", b"\x05\x04\x06")):
        bus.write(0x53, mode)
        bus.write(0x53, b"\x12\x0e")
        bus.write(0x53, b"\x4c")
        assert bus.read(0x53, 3) == version
