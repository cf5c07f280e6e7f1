"""SHT3x and SHT4x by byte pairs of protocols.md sections 12 and 13, and on their twins."""

import errno

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.sht import Sht3xTwin, Sht4xTwin
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c import sht

SHT3X = [sht.Sht30, sht.Sht31, sht.Sht35]
SHT4X = [sht.Sht40, sht.Sht41, sht.Sht45]
CALM_3X = (("30 93", ""), ("30 A2", ""))
CALM_4X = (("94", ""),)
FRAME_3X = "66 66 93 80 00 A2"
FRAME_4X = "66 66 93 72 B0 DC"


@pytest.mark.parametrize("driver", SHT3X)
def test_sht3x_frame(driver, script):
    wires = script(0x44, *CALM_3X, ("24 00", FRAME_3X))
    with driver(driver.Options(), wires) as part:
        assert part.read().values == pytest.approx((25.00, 50.00), abs=0.005)


@pytest.mark.parametrize("driver", SHT4X)
def test_sht4x_frame(driver, script):
    wires = script(0x46, *CALM_4X, ("FD", FRAME_4X))
    with driver(driver.Options(address=0x46), wires) as part:
        assert part.read().values == pytest.approx((25.00, 50.00), abs=0.005)


@pytest.mark.parametrize("variant", [sht.SHT3X, sht.SHT4X])
def test_below_zero(variant):
    reply = bytes.fromhex("33 33 88 80 00 A2")
    assert sht.decode(reply, 0x44, variant).values[0] == pytest.approx(-10.00, abs=0.005)


def test_the_generations_differ_in_humidity_only():
    reply = bytes.fromhex(FRAME_4X)
    assert sht.decode(reply, 0x44, sht.SHT3X).values[1] == pytest.approx(44.8, abs=0.05)
    assert sht.decode(reply, 0x44, sht.SHT4X).values[1] == pytest.approx(50.0, abs=0.05)


@pytest.mark.parametrize(("word", "percent"), [("00 00 81", 0), ("FF FF AC", 100)])
def test_sht4x_humidity_is_clamped(word, percent):
    reply = bytes.fromhex("66 66 93 " + word)
    assert sht.decode(reply, 0x44, sht.SHT4X).values[1] == percent


def test_a_wrong_crc_gives_no_value_and_the_next_frame_does(script):
    bad = "66 66 93 80 00 A3"
    wires = script(0x44, *CALM_3X, ("24 00", bad), ("24 00", FRAME_3X))
    with sht.Sht31(sht.Sht31.Options(), wires) as part:
        assert part.read() is None
        assert part.read() is not None


@pytest.fixture(params=[(sht.Sht31, Sht3xTwin), (sht.Sht45, Sht4xTwin)])
def pair(request):
    return request.param


def air(quantity):
    return {"temperature": -12.5, "humidity": 61.0}[quantity]


def bus_with(*twins):
    clock = FakeClock()
    bus = EmulatedBus(clock.now)
    for twin in twins:
        bus.plug(twin)
    return clock, bus, wiring(clock, open_bus=lambda _: bus)


def test_driver_and_twin_agree(pair):
    driver, twin = pair
    _, _, wires = bus_with(twin(air, 0x45))
    with driver(driver.Options(address=0x45), wires) as part:
        assert part.read().values == pytest.approx((-12.5, 61.0), abs=0.01)


def test_absent_at_start_is_said_at_once(pair):
    driver, _ = pair
    _, _, wires = bus_with()
    with pytest.raises(NoAnswer, match="0x44 on bus 1"):
        driver(driver.Options(), wires).start()


def test_unplugged_is_said_after_the_silence_and_replugged_is_taken_back(pair):
    driver, twin = pair
    clock, bus, wires = bus_with(twin(air))
    with driver(driver.Options(), wires) as part:
        assert part.read() is not None
        bus.unplug(0x44)
        clock.sleep_until(clock.now() + 5000)
        assert part.read() is None
        clock.sleep_until(clock.now() + 5000)
        with pytest.raises(NoAnswer, match=r"nothing valid for 10 s: nothing answers"):
            part.read()
        bus.plug(twin(air))
        assert part.read() is not None


def test_a_part_left_in_periodic_mode_with_its_heater_on_is_calmed():
    twin = Sht3xTwin(air)
    clock, bus, wires = bus_with(twin)
    bus.write(0x44, b"\x30\x6d")
    bus.write(0x44, b"\x27\x37")
    clock.sleep_until(40)
    with sht.Sht31(sht.Sht31.Options(), wires) as part:
        assert part.read() is not None
    assert not twin.heater


def test_a_read_too_early_is_refused_and_data_are_given_once(pair):
    _, twin = pair
    clock, bus, _ = bus_with(twin(air))
    order = b"\xfd" if twin is Sht4xTwin else b"\x24\x00"
    bus.write(0x44, order)
    for early in (0, 8):
        clock.time = early
        with pytest.raises(OSError, match="Remote I/O") as caught:
            bus.read(0x44, 6)
        assert caught.value.errno == errno.EREMOTEIO
    clock.time = 16
    assert len(bus.read(0x44, 6)) == 6
    with pytest.raises(OSError, match="Remote I/O"):
        bus.read(0x44, 6)


@pytest.mark.parametrize(
    ("twin", "orders"),
    [
        (Sht3xTwin, ["", "24", "24 01", "FD", "24 00 00", "24 00 80 00 A2", "00 00"]),
        (Sht4xTwin, ["", "24 00", "FF", "FD 80 00 A2", "00"]),
    ],
)
def test_what_the_part_does_not_know_is_refused(twin, orders):
    _, bus, _ = bus_with(twin(air))
    for order in orders:
        with pytest.raises(OSError, match="Remote I/O"):
            bus.write(0x44, bytes.fromhex(order))


def test_periodic_mode_refuses_single_shots_and_fetches_each_value_once():
    clock, bus, _ = bus_with(Sht3xTwin(air))
    bus.write(0x44, b"\x21\x30")
    with pytest.raises(OSError, match="Remote I/O"):
        bus.write(0x44, b"\x24\x00")
    fetched = 0
    for clock.time in range(0, 5001, 100):
        bus.write(0x44, b"\xe0\x00")
        try:
            bus.read(0x44, 6)
            fetched += 1
        except OSError:
            pass
    assert fetched == 5


def test_twin_frames_are_those_of_the_reference():
    clock, bus, _ = bus_with(
        Sht3xTwin({"temperature": 25.0, "humidity": 50.0}.__getitem__),
        Sht4xTwin({"temperature": 25.0, "humidity": 50.0}.__getitem__, 0x45),
    )
    bus.write(0x44, b"\x24\x00")
    bus.write(0x45, b"\xfd")
    clock.time = 16
    assert bus.read(0x44, 6) == bytes.fromhex(FRAME_3X)
    assert bus.read(0x45, 6) == bytes.fromhex(FRAME_4X)


def test_a_status_word_and_a_serial_number_can_be_asked_for():
    clock, bus, _ = bus_with(Sht3xTwin(air), Sht4xTwin(air, 0x45))
    bus.write(0x44, b"\x30\x6d")
    bus.write(0x44, b"\xf3\x2d")
    assert bus.read(0x44, 3)[:2] == b"\x20\x00"
    bus.write(0x45, b"\x89")
    clock.time = 1
    assert len(bus.read(0x45, 6)) == 6


def test_nothing_is_acknowledged_while_powering_up(pair):
    driver, twin = pair
    clock, _, wires = bus_with(twin(air, powered_at=0, power_up_ms=1000))
    with pytest.raises(NoAnswer):
        driver(driver.Options(), wires).start()
    clock.sleep_until(1000)
    driver(driver.Options(), wires).start()
