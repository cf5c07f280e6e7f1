"""Published libraries as clients of our emulated I2C parts, beside our own drivers.

Neither side shares a line with the other, so a frame, a formula, a CRC or a time that we got
wrong in both driver and twin shows here.
"""

import pytest

from fakes import FakeClock, wiring
from reference.microcontroller import library, sleeper
from ventwright_drivers import registry
from ventwright_drivers.emulated.bus import EmulatedBus

AIRS = [
    {"co2": 412.0, "temperature": 21.3, "humidity": 38.0},
    {"co2": 0.0, "temperature": -39.9, "humidity": 0.0},
    {"co2": 40_000.0, "temperature": 124.0, "humidity": 100.0},
]


class Bench:
    """A twin on a bus, for a published library and for our driver."""

    def __init__(self, model, air, monkeypatch):
        self.clock = FakeClock()
        self.bus = EmulatedBus(self.clock.now)
        self.twin = registry.twins()[model](air.__getitem__)
        self.bus.plug(self.twin)
        self._monkeypatch = monkeypatch
        self.sleep = sleeper(self.clock)
        self._driver = registry.parts()[model]
        self.quantities = self._driver.quantities

    def library(self, name):
        return library(name, self.clock, self._monkeypatch)

    def ours(self, wait_ms=0):
        wires = wiring(self.clock, open_bus=lambda _: self.bus)
        with self._driver(self._driver.Options(), wires) as part:
            self.clock.sleep_until(self.clock.now() + wait_ms)
            return part.read().values


@pytest.fixture(params=AIRS)
def air(request):
    return request.param


@pytest.mark.parametrize("model", ["sht30", "sht31", "sht35"])
def test_sht3x(model, air, monkeypatch):
    bench = Bench(model, air, monkeypatch)
    theirs = bench.library("adafruit_sht31d").SHT31D(bench.bus)
    for theirs.repeatability in ("Low", "Medium", "High"):
        assert theirs.temperature == pytest.approx(air["temperature"], abs=0.005)
        assert theirs.relative_humidity == pytest.approx(air["humidity"], abs=0.005)
    assert bench.ours() == pytest.approx((theirs.temperature, theirs.relative_humidity))


def test_sht3x_heater_and_status(air, monkeypatch):
    bench = Bench("sht31", air, monkeypatch)
    theirs = bench.library("adafruit_sht31d").SHT31D(bench.bus)
    assert not theirs.heater
    theirs.heater = True
    assert theirs.heater
    assert bench.twin.heater


@pytest.mark.parametrize("model", ["sht40", "sht41", "sht45"])
def test_sht4x(model, air, monkeypatch):
    bench = Bench(model, air, monkeypatch)
    library = bench.library("adafruit_sht4x")
    theirs = library.SHT4x(bench.bus)
    assert theirs.serial_number == bench.twin.serial
    for mode in (library.Mode.NOHEAT_LOWPRECISION, library.Mode.NOHEAT_HIGHPRECISION):
        theirs.mode = mode
        expected = (air["temperature"], air["humidity"])
        assert theirs.measurements == pytest.approx(expected, abs=0.005)
    assert bench.ours() == pytest.approx(theirs.measurements)


@pytest.mark.parametrize("model", ["scd40", "scd41"])
def test_scd4x_measures(model, air, monkeypatch):
    bench = Bench(model, air, monkeypatch)
    theirs = bench.library("adafruit_scd4x").SCD4X(bench.bus)
    theirs.start_periodic_measurement()
    bench.sleep(4.5)
    assert not theirs.data_ready
    bench.sleep(0.5)
    assert theirs.data_ready
    values = (theirs.CO2, theirs.temperature, theirs.relative_humidity)
    assert values == pytest.approx((air["co2"], air["temperature"], air["humidity"]), abs=0.005)
    assert not theirs.data_ready
    assert bench.ours(5000) == (values[0] or None, *map(pytest.approx, values[1:]))


@pytest.mark.parametrize("model", ["scd40", "scd41"])
def test_scd4x_settings(model, monkeypatch):
    bench = Bench(model, AIRS[0], monkeypatch)
    theirs = bench.library("adafruit_scd4x").SCD4X(bench.bus)
    assert theirs.serial_number == (0xF8, 0x96, 0x9F, 0x07, 0x3B, 0xBE)
    assert theirs.sensor_variant_name == model.upper()
    assert theirs.self_calibration_enabled
    assert theirs.temperature_offset == pytest.approx(4.0, abs=0.005)
    bench.ours(5000)  # our driver switches self-calibration off, and leaves the part measuring
    with pytest.raises(RuntimeError, match="not available in periodic"):
        theirs.altitude = 300
    theirs.ambient_pressure = 987
    assert theirs.ambient_pressure == 987
    theirs.stop_periodic_measurement()
    assert not theirs.self_calibration_enabled
    theirs.altitude = 300
    theirs.persist_settings()
    theirs.altitude = 0
    theirs.reinit()
    assert theirs.altitude == 300
    theirs.self_test()


def test_scd41_sleeps_and_wakes(monkeypatch):
    bench = Bench("scd41", AIRS[0], monkeypatch)
    theirs = bench.library("adafruit_scd4x").SCD4X(bench.bus)
    theirs.power_down()
    with pytest.raises(RuntimeError):
        theirs.start_periodic_measurement()
    theirs.wake_up()
    theirs.start_periodic_measurement()
    theirs.stop_periodic_measurement()
    theirs.power_down()
    assert bench.ours(5000)[0] == 412


DUST = {"pm1": 3.5, "pm2_5": 12.1, "pm4": 13.0, "pm10": 14.2, "voc_index": 104.0, "nox_index": 2.0}
DUST |= {"co2": 777.0, "temperature": 23.45, "humidity": 41.3}
COUNTS = {"n0_3": 21.3, "n0_5": 6.12, "n1": 0.98, "n2_5": 0.09, "n5": 0.02, "n10": 0.01}


def test_sen66(monkeypatch):
    bench = Bench("sen66", DUST, monkeypatch)
    theirs = bench.library("adafruit_sen6x").SEN66(bench.bus)
    assert theirs.product_name == "SEN66"
    theirs.co2_automatic_self_calibration = False
    theirs.sensor_altitude = 1950
    assert theirs.sensor_altitude == 1950
    theirs.start_measurement()
    assert not theirs.data_ready
    bench.sleep(12)
    assert theirs.data_ready
    read = theirs.all_measurements()
    expected = [DUST[name] for name in bench.quantities]
    names = ("pm1_0", "pm2_5", "pm4_0", "pm10", "humidity", "temperature", "voc_index")
    values = [read[name] for name in (*names, "nox_index", "co2")]
    assert values == pytest.approx(expected, abs=0.05)
    assert not theirs.device_status.errors
    bench.twin.status = 1 << 4
    assert theirs.device_status.fan_error
    theirs.stop_measurement()
    assert bench.ours(12_000) == tuple(values)


SPS30_AIR = {"pm1": 3.5, "pm2_5": 12.25, "pm4": 13.5, "pm10": 14.75}
SPS30_AIR |= {"n0_3": 13.0, "n0_5": 3.0, "n1": 1.0, "n2_5": 0.5}


class Slow:
    """A bus for a library that reads at once, where the datasheet has it wait."""

    def __init__(self, bench):
        self.bench = bench

    def i2c_rdwr(self, *messages):
        self.bench.bus.i2c_rdwr(*messages)
        self.bench.sleep(0.025)


def test_sps30(monkeypatch):
    bench = Bench("sps30-i2c", SPS30_AIR, monkeypatch)
    library = bench.library("sps30.sps30")
    monkeypatch.setattr(library, "SMBus", lambda _: Slow(bench))
    for name in ("START_MEAS", "RW_AUTO_CLN"):  # they grow with every use
        monkeypatch.setattr(library.SPS30, name, list(getattr(library.SPS30, name)))
    theirs = library.SPS30(1)
    theirs.start_measurement()
    bench.sleep(1.2)
    assert theirs.read_data_ready_flag() == 1
    assert theirs.read_measured_values() == theirs.NO_ERROR
    read = theirs.dict_values
    # their numbers are counted from 0.3 µm up to a size, as on the wire; ours above a size
    to = [read[f"nc{size}"] for size in ("0p5", "1p0", "2p5", "10p0")]
    above = [to[3], *(to[3] - part for part in to[:3])]
    theirs.start_fan_cleaning()
    bench.sleep(9)
    assert theirs.read_data_ready_flag() == 0
    bench.sleep(2)
    assert theirs.read_data_ready_flag() == 1
    theirs.stop_measurement()
    assert theirs.read_auto_cleaning_interval() == 604_800
    theirs.set_auto_cleaning_interval(345_600)
    assert bench.twin.interval_s == 345_600
    masses = [read[name] for name in ("pm1p0", "pm2p5", "pm4p0", "pm10p0")]
    assert bench.ours(1200) == tuple(masses + above) == tuple(SPS30_AIR.values())


def test_pmsa003i(monkeypatch):
    air = {"pm1": 3.0, "pm2_5": 12.0, "pm10": 14.0, **COUNTS}
    bench = Bench("pmsa003i", air, monkeypatch)
    read = bench.library("adafruit_pm25.i2c").PM25_I2C(bench.bus).read()
    masses = [read[f"pm{size} env"] for size in (10, 25, 100)]
    counts = [read[f"particles {size}um"] / 100 for size in ("03", "05", "10", "25", "50", "100")]
    assert bench.ours() == tuple(masses + counts) == pytest.approx(tuple(air.values()))


def test_sgp40(monkeypatch):
    bench = Bench("sgp40", {"voc_raw": 30_123.0}, monkeypatch)
    library = bench.library("adafruit_sgp40")
    monkeypatch.setattr(library.SGP40, "_reset", lambda _: None)  # it resets the whole bus
    theirs = library.SGP40(bench.bus)
    assert (theirs.raw,) == bench.ours() == (30_123,)
    theirs.measure_raw(30, 45)
    assert bench.twin.climate == (0x7333, 0x6DB6)


def test_sgp41(monkeypatch):
    bench = Bench("sgp41", {"voc_raw": 30_123.0, "nox_raw": 17_017.0}, monkeypatch)
    theirs = bench.library("adafruit_sgp41.sgp41").SGP41(bench.bus)
    assert theirs.serial_number == bench.twin.serial
    assert theirs.conditioning() == 30_123
    assert theirs.measure_raw() == (30_123, 17_017)
    assert bench.twin.climate == (0x8000, 0x6666)
    theirs.heater_off()
    assert not bench.twin.heater
    assert bench.ours() == (30_123, None)
