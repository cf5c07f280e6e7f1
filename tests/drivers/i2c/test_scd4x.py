"""SCD40 and SCD41 by byte pairs of protocols.md section 14, and on their strict twins."""

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.scd4x import Scd40Twin, Scd41Twin
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.scd4x import Scd40, Scd41, decode
from ventwright_drivers.i2c.words import unpack

STOP, ASC_OFF, START = ("3F 86", ""), ("24 16 00 00 81", ""), ("21 B1", "")
READY, NOT_READY = ("E4 B8", "80 06 04"), ("E4 B8", "80 00 A2")
DATA = ("EC 05", "01 F4 33 66 67 A2 5E B9 3C")


def test_start_and_read(script):
    wires = script(0x62, STOP, ASC_OFF, START, NOT_READY, READY, DATA)
    with Scd40(Scd40.Options(), wires) as part:
        assert part.read() is None
        assert part.read().values == pytest.approx((500, 25.00, 37.00), abs=0.005)


def test_scd41_is_woken_first(script):
    wires = script(0x62, ("36 F6", ""), STOP, ASC_OFF, START)
    Scd41(Scd41.Options(), wires).start()


def test_options_become_commands(script):
    asc_on, altitude, pressure = (
        ("24 16 00 01 B0", ""),
        ("24 27 07 9E 09", ""),
        ("E0 00 03 DB 42", ""),
    )
    wires = script(0x62, STOP, asc_on, altitude, pressure, START)
    Scd40(Scd40.Options(self_calibration=True, altitude=1950, pressure=987), wires).start()


def test_misprinted_crc_of_the_datasheet_is_refused():
    # protocols.md section 26: the datasheet's example has 7B where 33 is right
    with pytest.raises(NoAnswer):
        unpack(bytes.fromhex("01 F4 7B 66 67 A2 5E B9 3C"), 0x62)


def test_zero_ppm_is_no_value():
    assert decode((0, 0x6667, 0x5EB9)).values == pytest.approx((None, 25.0, 37.0), abs=0.005)


@pytest.fixture(params=[(Scd40, Scd40Twin), (Scd41, Scd41Twin)])
def pair(request):
    return request.param


def air(quantity):
    return {"co2": 1234.0, "temperature": -3.0, "humidity": 45.0}[quantity]


class Setup:
    def __init__(self, twin):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.twin = twin
        self.bus.plug(twin)
        self.wires = wiring(self.clock, open_bus=lambda _: self.bus)

    def read_for(self, part, ms, every=1000):
        until = self.clock.now() + ms
        found = []
        while self.clock.now() < until:
            self.clock.sleep_until(self.clock.now() + every)
            found.append(part.read())
        return [sample for sample in found if sample]


def test_every_five_seconds_by_the_parts_own_clock(pair):
    driver, twin = pair
    setup = Setup(twin(air))
    with driver(driver.Options(), setup.wires) as part:
        found = setup.read_for(part, 60_000)
    assert len(found) in (11, 12)
    assert found[0].values == pytest.approx((1234, -3.0, 45.0), abs=0.01)


def test_asked_every_five_seconds_it_misses_little(pair):
    driver, twin = pair
    setup = Setup(twin(air))
    with driver(driver.Options(), setup.wires) as part:
        assert len(setup.read_for(part, 600_000, driver.period_ms)) >= 110


def test_a_restarted_program_meets_a_running_part(pair):
    driver, twin = pair
    setup = Setup(twin(air))
    part = driver(driver.Options(), setup.wires)
    for _ in range(3):  # closing leaves the part measuring
        part.start()
        assert setup.read_for(part, 7000)
        part.close()
        assert setup.twin.measuring


def test_a_killed_program_left_the_scd41_asleep():
    setup = Setup(Scd41Twin(air))
    setup.bus.write(0x62, b"\x36\xe0")
    with Scd41(Scd41.Options(), setup.wires) as part:
        assert setup.read_for(part, 7000)


def test_a_part_that_lost_power_is_noticed_and_started_again(pair):
    driver, twin = pair
    setup = Setup(twin(air))
    with driver(driver.Options(), setup.wires) as part:
        setup.bus.unplug(0x62)
        setup.bus.plug(twin(air))  # idle now: ready never comes
        with pytest.raises(NoAnswer, match="20 s: it has nothing new"):
            setup.read_for(part, 30_000)
        part.start()
        assert setup.read_for(part, 7000)


@pytest.mark.parametrize("wanted", [False, True])
def test_settings_reach_the_part_and_spare_its_eeprom(pair, wanted):
    driver, twin = pair
    setup = Setup(twin(air))
    driver(driver.Options(self_calibration=wanted, altitude=300), setup.wires).start()
    assert setup.twin.settings["self_calibration"] == int(wanted)
    assert setup.twin.settings["altitude"] == 300
    assert setup.twin.persisted == 0


def test_first_ppm_of_zero_is_no_value(pair):
    driver, twin = pair
    setup = Setup(twin(lambda q: 0.0 if q == "co2" else air(q)))
    with driver(driver.Options(), setup.wires) as part:
        assert setup.read_for(part, 7000)[0].values[0] is None


def refused(setup, order):
    with pytest.raises(OSError, match="Remote I/O"):
        setup.bus.write(0x62, bytes.fromhex(order))


IDLE_ONLY = [
    "21 B1",
    "21 AC",
    "24 16 00 00 81",
    "24 27 07 9E 09",
    "23 13",
    "36 15",
    "36 82",
    "36 39",
    "36 32",
    "36 46",
    "20 2F",
    "36 E0",
    "36 F6",
]


def test_while_measuring_all_but_four_commands_are_refused(pair):
    _, twin = pair
    setup = Setup(twin(air))
    setup.bus.write(0x62, b"\x21\xb1")
    for order in IDLE_ONLY:
        refused(setup, order)
    for allowed in ("E4 B8", "EC 05", "E0 00 03 DB 42", "E0 00", "3F 86"):
        setup.clock.time += 10
        setup.bus.write(0x62, bytes.fromhex(allowed))
    assert setup.twin.settings["pressure"] == 987


def test_half_a_second_of_deafness_follows_a_stop(pair):
    _, twin = pair
    setup = Setup(twin(air))
    setup.bus.write(0x62, b"\x3f\x86")
    setup.clock.time = 499
    refused(setup, "21 B1")
    setup.clock.time = 500
    setup.bus.write(0x62, b"\x21\xb1")


@pytest.mark.parametrize(
    "order",
    [
        "24 16 00 00 80",
        "24 16 00 00",
        "24 16",
        "24 27 07 9E 09 07 9E 09",
        "21 B1 00 00 81",
        "12 34",
        "21",
        "E0 00 03 DB 43",
    ],
)
def test_malformed_commands_are_refused(order):
    refused(Setup(Scd40Twin(air)), order)


def test_reading_empties_the_buffer(pair):
    _, twin = pair
    setup = Setup(twin(air))
    setup.bus.write(0x62, b"\x21\xb1")
    setup.clock.time = 5000
    setup.bus.write(0x62, b"\xec\x05")
    setup.clock.time = 5001
    assert setup.bus.read(0x62, 9)[:2].hex(" ") == "04 d2"
    setup.bus.write(0x62, b"\xec\x05")
    setup.clock.time = 5002
    with pytest.raises(OSError, match="Remote I/O"):
        setup.bus.read(0x62, 9)


def test_stored_settings_come_back_and_factory_settings_too():
    setup = Setup(Scd41Twin(air))
    for order, expected in [
        ("24 27 07 9E 09", 1950),
        ("36 15", 1950),
        ("24 27 00 00 81", 0),
        ("36 46", 1950),
        ("36 32", 0),
    ]:
        setup.bus.write(0x62, bytes.fromhex(order))
        setup.clock.time += 2000
        assert setup.twin.settings["altitude"] == expected
    assert setup.twin.persisted == 1


def test_scd40_cannot_be_powered_down_or_woken():
    setup = Setup(Scd40Twin(air))
    refused(setup, "36 E0")
    refused(setup, "36 F6")
