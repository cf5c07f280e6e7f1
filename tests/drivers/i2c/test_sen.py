"""SEN54, SEN55, SEN66 and SEN68 by byte pairs of protocols.md sections 16 and 17, and on twins."""

from itertools import pairwise

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.emulated import sen as twins
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c import sen

WORDS = "00 0C FC 00 22 65 00 2D 4B 00 32 26 11 D7 88 12 52 2A 03 E8 D4 00 0A 5A"
VALUES = (1.2, 3.4, 4.5, 5.0, 45.67, 23.45, 100.0, 1.0)
UNKNOWN = "FF FF AC " * 4 + "7F FF 8F " * 4
STOP, START = ("01 04", ""), ("00 21", "")
NOT_READY, READY = ("02 02", "00 00 81"), ("02 02", "00 01 B0")
HEALTHY, FAN_FAILED = ("D2 06", "00 00 81 00 00 81"), ("D2 06", "00 00 81 00 10 C2")
ASC_OFF = ("67 11 00 00 81", "")


def values_of(driver, wires):
    with driver(driver.Options(), wires) as part:
        return part.read().values


def test_sen55_frame(script):
    wires = script(0x69, STOP, START, NOT_READY, READY, ("03 C4", WORDS), HEALTHY)
    with sen.Sen55(sen.Sen55.Options(), wires) as part:
        assert part.read() is None
        assert part.read() == (pytest.approx(VALUES), "", None)


def test_sen54_has_no_nox(script):
    words = WORDS.replace("00 0A 5A", "7F FF 8F")
    wires = script(0x69, STOP, START, READY, ("03 C4", words), HEALTHY)
    assert values_of(sen.Sen54, wires) == pytest.approx(VALUES[:7])


def test_sen66_frame(script):
    wires = script(0x6B, STOP, ASC_OFF, START, READY, ("03 00", WORDS + " 02 64 27"), HEALTHY)
    assert values_of(sen.Sen66, wires) == pytest.approx((*VALUES, 612))


def test_sen68_frame(script):
    wires = script(0x6B, STOP, START, READY, ("04 67", WORDS + " 00 99 30"), HEALTHY)
    assert values_of(sen.Sen68, wires) == pytest.approx((*VALUES, 15.3 * 30.03 / 24.45))


def test_sen66_options_become_commands(script):
    # words as in section 14: 1950 m and 987 hPa
    asked = ("67 11 00 01 B0", ""), ("67 36 07 9E 09", ""), ("67 20 03 DB 42", "")
    options = sen.Sen66.Options(self_calibration=True, altitude=1950, pressure=987)
    sen.Sen66(options, script(0x6B, STOP, *asked, START)).start()


def test_unknown_is_none(script):
    wires = script(0x69, STOP, START, READY, ("03 C4", UNKNOWN), HEALTHY)
    assert values_of(sen.Sen55, wires) == (None,) * 8


def test_an_index_of_zero_is_none_yet_and_a_mass_of_zero_is_a_value():
    values = sen.decode((0, 0, 0, 0, 0, 0, 0, 10, 0), sen._WITH_CO2).values
    assert values == (0, 0, 0, 0, 0, 0, None, 1, 0)


def test_below_zero(script):
    words = WORDS.replace("12 52 2A", "FC 18 D7")
    wires = script(0x69, STOP, START, READY, ("03 C4", words), HEALTHY)
    assert values_of(sen.Sen55, wires)[5] == -5.0


def test_what_ails_it_is_told(script):
    wires = script(0x69, STOP, START, READY, ("03 C4", WORDS), FAN_FAILED)
    with sen.Sen55(sen.Sen55.Options(), wires) as part:
        assert part.read().fault == "fan failed"


PAIRS = [
    (sen.Sen54, twins.Sen54Twin),
    (sen.Sen55, twins.Sen55Twin),
    (sen.Sen66, twins.Sen66Twin),
    (sen.Sen68, twins.Sen68Twin),
]
AIR = {"pm1": 1.2, "pm2_5": 3.4, "pm4": 4.5, "pm10": 5.0, "humidity": 45.67, "temperature": -7.5}
AIR |= {"voc_index": 100.0, "nox_index": 1.0, "co2": 612.0, "hcho": 20.0}


class Setup:
    def __init__(self, driver, twin):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.twin = twin(AIR.__getitem__)
        self.bus.plug(self.twin)
        self.wires = wiring(self.clock, open_bus=lambda _: self.bus)
        self.part = driver(driver.Options(), self.wires)

    def read_for(self, ms):
        found = []
        for _ in range(ms // 1000):
            self.clock.sleep_until(self.clock.now() + 1000)
            found.append(self.part.read())
        return [sample for sample in found if sample]

    def refused(self, order):
        with pytest.raises(OSError, match="Remote I/O"):
            self.bus.write(self.twin.address, bytes.fromhex(order))


@pytest.fixture(params=PAIRS, ids=lambda pair: pair[0].model)
def setup(request):
    return Setup(*request.param)


def test_driver_and_twin_agree_once_all_is_known(setup):
    with setup.part as part:
        found = setup.read_for(70_000)
        assert len(found) >= 65
        expected = [AIR[name] for name in part.quantities]
        assert found[-1].values == pytest.approx(expected, abs=0.07)
        assert found[0].values[:7] == pytest.approx(expected[:7], abs=0.01)
        assert found[0].values[7:] == (None,) * len(expected[7:])


def test_a_restarted_program_meets_a_running_part(setup):
    for _ in range(3):
        setup.part.start()
        assert setup.read_for(4000)
        setup.part.close()
        assert setup.twin.started is not None


def test_an_absent_part_is_noticed_at_start(setup):
    setup.bus.unplug(setup.twin.address)
    with pytest.raises(NoAnswer):
        setup.part.start()


def test_a_part_that_lost_power_is_noticed_and_started_again(setup):
    with setup.part as part:
        setup.bus.write(setup.twin.address, b"\xd3\x04")
        with pytest.raises(NoAnswer, match="20 s"):
            setup.read_for(30_000)
        part.start()
        assert setup.read_for(4000)


def test_a_sticky_fault_is_told_until_cleared(setup):
    with setup.part:
        setup.twin.status = 1 << 21 | 1 << 7
        assert setup.read_for(3000)[-1].fault == "fan speed out of range, gas element failed"
        setup.bus.write(setup.twin.address, b"\xd2\x10")
        assert setup.read_for(3000)[-1].fault == ""


PARTICLES = ("pm1", "pm2_5", "pm4", "pm10")


@pytest.mark.parametrize(
    ("bits", "failed"),
    [
        ((), None),
        ((19,), None),  # it cleans its fan
        ((4,), PARTICLES),
        ((5, 21), PARTICLES),
        ((11,), PARTICLES),
        ((7,), ("voc_index", "nox_index")),
        ((6,), ("humidity", "temperature", "voc_index", "nox_index")),
        ((9,), ("co2",)),
        ((12,), ("co2",)),
        ((10,), ("hcho",)),
        ((4, 10), (*PARTICLES, "hcho")),
    ],
)
def test_a_fault_concerns_what_it_spoils_and_no_more(bits, failed):
    register = sum(1 << bit for bit in bits)
    found = sen.decode((0,) * 9, sen.Sen68.fields, (register >> 16, register & 0xFFFF))
    assert found.failed == (None if failed is None else frozenset(failed))
    assert bool(found.fault) == bool(failed)


def test_every_fault_that_is_named_concerns_something():
    assert set(sen.CONCERNS) == set(sen.FAULTS)


HOUR = 3_600_000


def run(setup, ms):
    """Read as the poller does, which comes back sooner when there is nothing."""
    end, found = setup.clock.now() + ms, []
    while setup.clock.now() < end:
        sample = setup.part.read()
        found += [(setup.clock.now(), sample)] if sample else []
        setup.clock.sleep_until(setup.clock.now() + (1000 if sample else 250))
    return found


def test_the_fan_is_cleaned_after_an_hour_in_the_state_that_the_part_needs(setup):
    orders = []
    write = setup.twin.write
    setup.twin.write = lambda data, now: (orders.append((now, data.hex())), write(data, now))
    with setup.part as part:
        found = run(setup, HOUR + 30_000)
        cleaned = [now for now, order in orders if order == "5607"]
        assert len(cleaned) == 1
        assert HOUR <= cleaned[0] < HOUR + 5000
        times = [t for t, _ in found]
        gap = max(b - a for a, b in pairwise(times))
        idle = setup.twin.address == 0x6B
        assert gap < (15_000 if idle else 12_000) < part.silence_ms
        assert part.restarts == int(idle)
        assert found[-1][1].fault == ""
        assert setup.clock.now() - times[-1] < 2000


def test_a_restart_of_the_bus_cleans_no_second_time_and_ends_a_cleaning(setup):
    with setup.part as part:
        run(setup, HOUR + 5000)
        if setup.twin.address == 0x6B:  # it cleans, and takes no orders meanwhile
            with pytest.raises(NoAnswer):
                part.start()
            setup.clock.time += 10_000
        part.start()
        assert part.restarts == 0
        assert run(setup, 20_000)
        orders = []
        write = setup.twin.write
        setup.twin.write = lambda data, now: (orders.append(data.hex()), write(data, now))
        run(setup, 2 * HOUR)
        assert "5607" not in orders


def test_no_cleaning_where_it_is_left_to_the_part(setup):
    part = type(setup.part)(type(setup.part).Options(clean_every=0), setup.wires)
    setup.part = part
    orders = []
    write = setup.twin.write
    setup.twin.write = lambda data, now: (orders.append(data.hex()), write(data, now))
    with part:
        run(setup, 3 * HOUR)
    assert "5607" not in orders


def test_cleaning_belongs_to_one_state_only(setup):
    """SEN5x while measuring, SEN6x while idle: protocols.md section 26."""
    measures = setup.twin.address == 0x69
    idle = (setup.twin.address, b"\x56\x07")
    if measures:
        setup.refused("56 07")
        with setup.part:
            setup.bus.write(*idle)
            assert len(setup.read_for(20_000)) in range(9, 12)
    else:
        setup.bus.write(*idle)
        setup.refused("00 21")
        setup.clock.time = 10_000
        with setup.part:
            setup.refused("56 07")


def test_idle_and_measuring_refuse_different_things(setup):
    read = f"{setup.twin.read_code:04X}"
    for order in (read, "02 02", "12 34", "00 21 00 00 81"):
        setup.refused(order)
    with setup.part:
        setup.refused("00 21")
        setup.refused("00 21 00")


def test_stopping_takes_its_time(setup):
    setup.part.start()
    setup.bus.write(setup.twin.address, b"\x01\x04")
    setup.clock.time += setup.twin.stop_ms - 1
    setup.refused("00 21")
    setup.clock.time += 1
    setup.bus.write(setup.twin.address, b"\x00\x21")


def test_the_part_says_its_name(setup):
    setup.bus.write(setup.twin.address, b"\xd0\x14")
    setup.clock.time += 20
    raw = setup.bus.read(setup.twin.address, 48)
    name = b"".join(raw[i : i + 2] for i in range(0, 48, 3)).rstrip(b"\0").decode()
    assert name.lower() == setup.part.model


def test_sen66_takes_its_settings_while_idle_only():
    setup = Setup(*PAIRS[2])
    setup.part.start()
    setup.refused("67 11 00 01 B0")
    setup.refused("67 20 03 DB 42 03 DB 42")
    setup.bus.write(0x6B, bytes.fromhex("67 20 03 DB 42"))
    assert setup.twin.settings == {0x6711: 0, 0x6720: 987, 0x6736: 0}
