"""Published libraries as clients of our emulated register parts and expanders, beside our drivers.

Neither side shares a line with the other. Where they differ, the test says who is right and why.
"""

import bme680
import ens160
import pytest
from ens160.i2c import SMBusRetryingI2C
from ens160.op_modes import OpModes
from mcp23008 import MCP23008, PinMode

from fakes import FakeClock, wiring
from reference.microcontroller import Direction, Smbus, library, sleeper
from ventwright_drivers.emulated.ads1115 import Ads1115Twin, Element
from ventwright_drivers.emulated.bme68x import Bme680Twin, Bme688Twin
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.ens160 import Ens160Twin
from ventwright_drivers.emulated.expanders import Mcp23008Twin, Pcf8574Twin
from ventwright_drivers.i2c.ads1115 import Ads1115
from ventwright_drivers.i2c.bme68x import Bme680, Bme688
from ventwright_drivers.i2c.ens160 import Ens160
from ventwright_drivers.relay.mcp23008 import Mcp23008Relay
from ventwright_drivers.relay.pcf8574 import Pcf8574Relay


class Bench:
    """A twin on a bus, for a published library and for our driver."""

    def __init__(self, twin, monkeypatch):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.twin = twin
        self.bus.plug(twin)
        self.sleep = sleeper(self.clock)
        self._monkeypatch = monkeypatch

    def library(self, name):
        return library(name, self.clock, self._monkeypatch)

    def ours(self, driver, **options):
        wires = wiring(self.clock, open_bus=lambda _: self.bus)
        return driver(driver.Options(**options), wires)


CLIMATES = [
    {"temperature": 23.4, "humidity": 41.0, "pressure": 1004.2, "gas_resistance": 51_234.0},
    {"temperature": -20.0, "humidity": 3.0, "pressure": 700.0, "gas_resistance": 1500.0},
    {"temperature": 60.0, "humidity": 97.0, "pressure": 1090.0, "gas_resistance": 2e6},
]


@pytest.mark.parametrize("air", CLIMATES)
@pytest.mark.parametrize(("twin", "driver"), [(Bme680Twin, Bme680), (Bme688Twin, Bme688)])
def test_bme68x(twin, driver, air, monkeypatch):
    bench = Bench(twin(air.__getitem__), monkeypatch)
    monkeypatch.setattr(bme680.time, "sleep", bench.sleep)
    theirs = bme680.BME680(i2c_device=Smbus(bench.bus))
    theirs.set_gas_heater_temperature(320)
    theirs.set_gas_heater_duration(50)  # they give a measurement up after 100 ms
    theirs.select_gas_heater_profile(0)
    registers = (0x5A, 0x64, 0x71, 0x72)
    set_by_them = [bench.twin.settings[register] for register in registers]
    assert theirs.get_sensor_data()
    assert theirs.data.heat_stable
    with bench.ours(driver, heating=50) as part:
        temperature, humidity, pressure, gas = part.read().values
        set_by_us = [bench.twin.settings[register] for register in registers]
    # they compute in whole numbers and we do not: up to 1 in their last digits of °C and Pa, and
    # for humidity, where they round in coarse steps, up to 0.03 %RH; the formulas for floating
    # point are the more exact ones
    assert temperature == pytest.approx(theirs.data.temperature, abs=0.01)
    assert pressure == pytest.approx(theirs.data.pressure, abs=0.1)
    assert humidity == pytest.approx(theirs.data.humidity, abs=0.03)
    # for the BME680 they add the half ohm with which whole numbers are rounded, but then divide
    # without rounding: half an ohm too much
    half = 0.5 if driver is Bme680 else 0.0
    assert gas == pytest.approx(theirs.data.gas_resistance - half, rel=1e-6, abs=0.01)
    assert [temperature, humidity, pressure] == pytest.approx(list(air.values())[:3], abs=0.1)
    assert set_by_us == set_by_them


def test_bme680_heater_codes(monkeypatch):
    air = {**CLIMATES[0], "temperature": 25.0}
    bench = Bench(Bme680Twin(air.__getitem__), monkeypatch)
    monkeypatch.setattr(bme680.time, "sleep", bench.sleep)
    theirs = bme680.BME680(i2c_device=Smbus(bench.bus))
    for celsius in (200, 250, 320, 399, 400):
        for ms in (20, 63, 64, 150, 1000, 4032):
            theirs.set_gas_heater_profile(celsius, ms)
            plate, heating = bench.twin.settings[0x5A], bench.twin.settings[0x64]
            with bench.ours(Bme680, plate=celsius, heating=ms) as part:
                part.read()
            assert bench.twin.settings[0x64] == heating
            # a step is about 3 °C. Theirs, in whole numbers, rounds to the nearest one but all
            # but loses the term for the air's temperature; ours keeps it, and is right
            assert abs(bench.twin.settings[0x5A] - plate) <= 1


VOC = {"tvoc": 174.0, "eco2": 660.0}


def test_ens160_by_one_library(monkeypatch):
    bench = Bench(Ens160Twin(VOC.__getitem__), monkeypatch)
    theirs = bench.library("adafruit_ens160").ENS160(bench.bus)
    assert bench.twin.climate == b"\x8a\x4a\x00\x64"
    assert theirs.temperature_compensation == pytest.approx(25, abs=0.01)
    bench.sleep(30)
    assert theirs.new_data_available
    assert theirs.data_validity == 1  # warming up: they give values, we do not
    read = theirs.read_all_sensors()
    assert (read["AQI"], read["TVOC"], read["eCO2"]) == (2, 174, 660)
    assert not theirs.new_data_available
    bench.sleep(31)
    assert theirs.data_validity == 0
    theirs.humidity_compensation = 30
    theirs.temperature_compensation = 7.15
    with bench.ours(Ens160, humidity=30, temperature=7.15) as part:
        assert bench.twin.climate == b"\x13\x46\x00\x3c"
        bench.sleep(1)
        assert part.read().values == (theirs.TVOC, theirs.eCO2) == (174, 660)


def test_ens160_by_another_library(monkeypatch):
    air = dict(VOC)
    bench = Bench(Ens160Twin(air.__getitem__), monkeypatch)
    monkeypatch.setattr("ens160.i2c.SMBus", lambda _: Smbus(bench.bus))
    monkeypatch.setattr("ens160.driver.sleep", bench.sleep)
    theirs = ens160.Driver(SMBusRetryingI2C(0x53, 1))
    theirs.init()
    assert theirs.get_part_id() == 0x0160
    assert theirs.get_fw_version() == "5.4.6"
    assert not theirs.get_device_status().power_on
    theirs.set_temp_compensation_celcius(25)
    theirs.set_rh_compensation(50)
    assert bench.twin.climate == b"\x8a\x4a\x00\x64"
    theirs.set_operating_mode(OpModes.STANDARD)
    bench.sleep(2)
    assert theirs.get_device_status().warm_up
    bench.sleep(60)
    status = theirs.get_device_status()
    assert (status.new_data, status.normal_operation, status.error) == (True, True, False)
    with bench.ours(Ens160) as part:
        assert part.read().values == (theirs.get_tvoc(), theirs.get_eco2()) == (174, 660)
    assert not theirs.get_device_status().new_data


def test_ens160_worst_air_is_5_of_5(monkeypatch):
    bench = Bench(Ens160Twin({"tvoc": 9000.0, "eco2": 5000.0}.__getitem__), monkeypatch)
    first = bench.library("adafruit_ens160").ENS160(bench.bus)
    monkeypatch.setattr("ens160.i2c.SMBus", lambda _: Smbus(bench.bus))
    second = ens160.Driver(SMBusRetryingI2C(0x53, 1))
    # the field has three bits; one library reads three, the other two and shows the worst air as
    # the best. The twin is right.
    assert second.get_aqi() == 5
    assert first.AQI == 1


ELEMENTS = {0: Element("co", 400.0, 10.0), 1: Element("hcho", 100.0, 2.0)}
GASES = {"co": 20.0, "hcho": 80.0}


def test_ads1115(monkeypatch):
    bench = Bench(Ads1115Twin(GASES.__getitem__, elements=ELEMENTS), monkeypatch)
    theirs = bench.library("adafruit_ads1x15.ads1115").ADS1115(bench.bus)
    # they ask without a pause whether the conversion is over, which no time passes for here
    monkeypatch.setattr(
        theirs,
        "_conversion_complete",
        lambda: bench.sleep(0.001) or type(theirs)._conversion_complete(theirs),
    )
    assert theirs.read(4) * 4096 / 32768 == pytest.approx(600.0, abs=0.07)
    assert theirs.read(0) * 4096 / 32768 == pytest.approx(340.0, abs=0.07)  # input 0 less 1
    with bench.ours(Ads1115, quantity="co", zero_mv=400.0, mv_per_unit=10.0) as co:
        assert co.read().values == pytest.approx((20.0,), abs=0.01)
        assert theirs.read(5) * 4096 / 32768 == pytest.approx(260.0, abs=0.07)
        assert co.read().values == pytest.approx((20.0,), abs=0.01)
    theirs.gain = 2
    assert theirs.read(4) * 2048 / 32768 == pytest.approx(600.0, abs=0.04)
    bench.twin.elements[3] = Element("co", -50.0, 0.0)
    assert theirs.read(7) == -800
    theirs.data_rate = 8
    before = bench.clock.now()
    theirs.read(0)
    assert bench.clock.now() - before == pytest.approx(125, abs=1)


def test_pcf8574_by_whole_bytes(monkeypatch):
    bench = Bench(Pcf8574Twin(), monkeypatch)
    theirs = bench.library("adafruit_pcf8574").PCF8574(bench.bus)
    with bench.ours(Pcf8574Relay, channel=3) as relay:
        for byte, on in ((0xFB, True), (0xFF, False), (0x00, True), (0xFA, True)):
            theirs.write_gpio(byte)
            assert theirs.read_gpio() == byte
            assert relay.state() is on


def test_pcf8574_first_pin(monkeypatch):
    bench = Bench(Pcf8574Twin(), monkeypatch)
    theirs = bench.library("adafruit_pcf8574").PCF8574(bench.bus)
    with bench.ours(Pcf8574Relay, channel=1) as relay:
        relay.switch(False)
        assert bench.twin.history == []
    theirs.write_pin(0, True)
    # what they think they wrote before begins as 00, so asking for one open contact closes the
    # seven others of a board that is switched by low levels. FF, as the chip powers up, is right.
    assert bench.twin.contacts == [False] + [True] * 7


class Transport:
    """What the library for the MCP23008 takes for a bus."""

    def __init__(self, bus):
        self.writeto, self.readfrom = bus.write, bus.read


def test_mcp23008_by_one_library(monkeypatch):
    bench = Bench(Mcp23008Twin(), monkeypatch)
    theirs = MCP23008(0x20, Transport(bench.bus))
    assert theirs.begin()
    with bench.ours(Mcp23008Relay, channel=2) as relay:
        relay.switch(True)
        assert theirs.read_register(0x00) == 0xFD
        assert theirs.digital_read(1) == 0
        assert theirs.digital_write(1, 1) == 0
        assert relay.state() is False


@pytest.mark.parametrize("whose", ["ours", "one", "another"])
def test_mcp23008_first_output(whose, monkeypatch):
    bench = Bench(Mcp23008Twin(), monkeypatch)
    theirs = bench.library("adafruit_mcp230xx.mcp23008").MCP23008(bench.bus)
    if whose == "ours":
        with bench.ours(Mcp23008Relay, channel=4) as relay:
            relay.switch(False)
    elif whose == "one":
        theirs.get_pin(3).switch_to_output(value=True)
    else:
        other = MCP23008(0x20, Transport(bench.bus))
        other.pin_mode(3, PinMode.OUTPUT)
        other.digital_write(3, 1)
    # both libraries make the pin an output before they raise it, and the relay clicks; ours,
    # which writes the level first, is right
    clicks = [] if whose == "ours" else [(0, 4, True), (0, 4, False)]
    assert bench.twin.history == clicks
    assert theirs.iodir == 0xF7
    assert theirs.get_pin(3).direction == Direction.OUTPUT
    assert theirs.get_pin(3).value


def test_a_chip_that_another_program_reset_is_set_up_again(monkeypatch):
    bench = Bench(Mcp23008Twin(), monkeypatch)
    with bench.ours(Mcp23008Relay, channel=4) as relay:
        relay.switch(True)
        bench.library("adafruit_mcp230xx.mcp23008").MCP23008(bench.bus)  # makes all pins inputs
        assert relay.state() is False
        relay.switch(True)
        assert relay.state() is True
    assert bench.twin.contacts[3]
