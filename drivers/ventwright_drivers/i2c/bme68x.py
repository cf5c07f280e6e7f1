"""BME680 and BME688: temperature, humidity, pressure, and the raw resistance of a gas element.

The resistance falls as VOC rises; it is no concentration, settles over hours to days (from
memory), and is given only where the part calls it valid and its heater was stable. Every
measurement is asked for, with all settings, so that a part that lost power measures on. Source:
protocols.md section 19, whose formulas for floating point are kept here.
"""

import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal, NamedTuple

from annotated_types import Interval

from ventwright_drivers.errors import NoAnswer, Refused
from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.i2c.register_part import RegisterPart
from ventwright_drivers.part import Sample

_ID, _VARIANT, _RESET, _FIELD, _RESULTS = 0xD0, 0xF0, 0xE0, 0x1D, 0x1F
_CALIBRATION = ((0x89, 25), (0xE1, 16), (0x00, 5))
_PLATE, _HEATING, _HEATER, _GAS, _HUMIDITY, _FORCE = 0x5A, 0x64, 0x70, 0x71, 0x72, 0x74
_CHIP, _RESET_CODE, _RESET_MS = 0x61, 0xB6, 10
_NEW, _GAS_GOOD = 0x80, 0x30  # valid, and the heater stable
_OFTEN = {"humidity": 2, "temperature": 4, "pressure": 3}  # codes of ×2, ×8, ×4
_MEASURE_MS = 33  # 1963 µs for each of 14 counts, and 5293 µs
_GLANCES, _GLANCE_MS = 10, 10
_NOT_MEASURED, _NO_HUMIDITY = 0x80000, 0x8000  # what a register holds until then (from memory)
_AMBIENT = 25.0

_K1 = {5: -1.0, 7: -0.8, 10: -0.2, 11: -0.5, 13: -1.0}
_K2 = {4: 0.1, 5: 0.7, 7: -0.8, 8: -0.1}


class Calibration(NamedTuple):
    """What the maker of the part wrote into it, by the datasheet's names, in the wire's order."""

    t2: int
    t3: int
    p1: int
    p2: int
    p3: int
    p4: int
    p5: int
    p7: int
    p6: int
    p8: int
    p9: int
    p10: int
    h1: int
    h2: int
    h3: int
    h4: int
    h5: int
    h6: int
    h7: int
    t1: int
    g2: int
    g1: int
    g3: int
    heater_value: int
    heater_range: int
    range_error: int


def decode_calibration(first: bytes, second: bytes, third: bytes) -> Calibration:
    """Read the calibration from the registers at 89 (25 bytes), E1 (16) and 00 (5)."""
    h2, shared, h1, *rest = struct.unpack("<3B3bBbHhbb2x", second)
    value, heater, error = struct.unpack("<bxBxb", third)
    humidity = (h1 << 4 | shared & 0x0F, h2 << 4 | shared >> 4)
    climate = struct.unpack("<xhbxHhbxhhbb2xhhBx", first)
    return Calibration._make((*climate, *humidity, *rest, value, heater >> 4 & 3, error >> 4))


def fine(c: Calibration, adc: int) -> float:
    """Compute the temperature in 1/5120 °C, which the other formulas need too."""
    linear = (adc / 16384 - c.t1 / 1024) * c.t2
    return linear + (adc / 131072 - c.t1 / 8192) ** 2 * 16 * c.t3


def pascal(c: Calibration, adc: int, t_fine: float) -> float | None:
    """Compute the pressure, Pa; None where the calibration allows none."""
    v1 = t_fine / 2 - 64000
    v2 = (v1 * v1 * c.p6 / 131072 + 2 * v1 * c.p5) / 4 + 65536 * c.p4
    v1 = (1 + (c.p3 * v1 * v1 / 16384 + c.p2 * v1) / 524288 / 32768) * c.p1
    if not v1:
        return None
    p = (1048576 - adc - v2 / 4096) * 6250 / v1
    cubic = (p / 256) ** 3 * c.p10 / 131072
    return p + (c.p9 * p * p / 2**31 + p * c.p8 / 32768 + cubic + 128 * c.p7) / 16


def percent(c: Calibration, adc: int, t_fine: float) -> float:
    """Compute the relative humidity, 0 to 100 %RH."""
    t = t_fine / 5120
    v1 = adc - (16 * c.h1 + c.h3 * t / 2)
    v2 = v1 * c.h2 / 262144 * (1 + c.h4 * t / 16384 + c.h5 * t * t / 1048576)
    return min(100.0, max(0.0, v2 + (c.h6 / 16384 + c.h7 * t / 2097152) * v2 * v2))


def ohm_680(c: Calibration, adc: int, step: int) -> float:
    """Compute the resistance, Ω, from a BME680's reading in range `step`, 0 to 15."""
    span = (1340 + 5 * c.range_error) * (1 + _K1.get(step, 0) / 100)
    conductance = (1 + _K2.get(step, 0) / 100) * 1.25e-7 * 2.0**step * ((adc - 512) / span + 1)
    return 1 / conductance


def ohm_688(_: Calibration, adc: int, step: int) -> float:
    """Compute the resistance, Ω, from a BME688's reading in range `step`, 0 to 15."""
    return 1e6 * (262144 >> step) / (4096 + 3 * (adc - 512))


def plate_code(c: Calibration, celsius: float, ambient: float = _AMBIENT) -> int:
    """Write the heater's target, 200 to 400 °C, for air of `ambient` °C."""
    v1 = c.g1 / 16 + 49
    v2 = c.g2 * 0.0005 / 32768 + 0.00235
    v5 = v1 * (1 + v2 * celsius) + c.g3 / 1024 * ambient
    scale = 4 / (4 + c.heater_range) / (1 + 0.002 * c.heater_value)
    return min(0xFF, max(0, int(3.4 * (v5 * scale - 25))))


def heating_code(ms: int) -> int:
    """Write a heating time, 1 to 4032 ms, as six bits and a power of four, rounded down."""
    factor = 0
    while ms > 63:
        ms //= 4
        factor += 1
    return factor << 6 | ms if factor < 4 else 0xFF


class Kind(NamedTuple):
    """What differs between the two: variant, gas switch, place of the gas bytes, formula."""

    variant: int
    run_gas: int
    gas_at: int
    ohm: Callable[[Calibration, int, int], float]


def _twenty(data: bytes) -> int:
    return int.from_bytes(data, "big") >> 4


BME680 = Kind(variant=0, run_gas=1, gas_at=11, ohm=ohm_680)
BME688 = Kind(variant=1, run_gas=2, gas_at=13, ohm=ohm_688)


def decode(results: bytes, c: Calibration, kind: Kind) -> Sample:
    """Read °C, %RH, hPa and Ω from the 15 bytes at register 1F; what was not measured is None."""
    pressure, temperature = _twenty(results[0:3]), _twenty(results[3:6])
    humidity = int.from_bytes(results[6:8], "big")
    if temperature == _NOT_MEASURED:
        return Sample((None,) * 4)
    t_fine = fine(c, temperature)
    pa = None if pressure == _NOT_MEASURED else pascal(c, pressure, t_fine)
    hpa = None if pa is None else pa / 100
    rh = None if humidity == _NO_HUMIDITY else percent(c, humidity, t_fine)
    return Sample((t_fine / 5120, rh, hpa, _gas(results[kind.gas_at :], c, kind)))


def _gas(pair: bytes, c: Calibration, kind: Kind) -> float | None:
    if pair[1] & _GAS_GOOD != _GAS_GOOD:
        return None
    return kind.ohm(c, pair[0] << 2 | pair[1] >> 6, pair[1] & 0x0F)


@dataclass(frozen=True)
class Bme68xOptions(I2COptions):
    """Where a BME680 or BME688 is, and how its gas element is heated."""

    address: Literal[0x76, 0x77] = 0x76
    """0x76, or 0x77 with the SDO pin high."""

    plate: Annotated[int, Interval(ge=200, le=400)] = 320
    """Temperature of the gas element, °C, in air of 25 °C."""

    heating: Annotated[int, Interval(ge=20, le=4032)] = 150
    """Time for which it is heated before it is measured, ms."""


class _Bme68x(RegisterPart):
    Options = Bme68xOptions
    quantities = ("temperature", "humidity", "pressure", "gas_resistance")
    period_ms = 3000  # heated more often, the element warms the thermometer (from memory)
    warm_up_ms = 9000  # the first readings after power-up are wrong
    settle_ms: ClassVar[Mapping[str, int]] = {"gas_resistance": 300_000}  # at worst (from memory)
    kind: ClassVar[Kind]
    _calibration: Calibration

    def prepare(self) -> None:
        """Check what it is, reset it and read its calibration; raises Refused, NoAnswer, lost."""
        chip, variant = self.sure(_ID, 1)[0], self.sure(_VARIANT, 1)[0]
        if (chip, variant) != (_CHIP, self.kind.variant):
            raise Refused(
                f"I2C address 0x{self.options.address:02X} has no {self.model.upper()}: chip "
                f"{chip:02X} variant {variant}, not {_CHIP:02X} variant {self.kind.variant}"
            )
        self.put(_RESET, bytes((_RESET_CODE,)))
        self.pause(_RESET_MS)
        self._calibration = decode_calibration(*(self.sure(*block) for block in _CALIBRATION))

    def _settings(self) -> dict[int, int]:
        """Pair registers with values; the one that starts a measurement comes last."""
        return {
            _HEATER: 0,
            _PLATE: plate_code(self._calibration, self.options.plate),
            _HEATING: heating_code(self.options.heating),
            _GAS: self.kind.run_gas << 4,
            _HUMIDITY: _OFTEN["humidity"],
            _FORCE: _OFTEN["temperature"] << 5 | _OFTEN["pressure"] << 2 | 1,
        }

    def measure(self) -> Sample:
        """Measure once, which takes 33 ms and the heating; raises NoAnswer, DeviceLost."""
        for register, value in self._settings().items():
            self.put(register, bytes((value,)))
        self.pause(_MEASURE_MS + self.options.heating)
        self._await()
        return decode(self.sure(_RESULTS, 15), self._calibration, self.kind)

    def _await(self) -> None:
        for _ in range(_GLANCES):
            if self.get(_FIELD)[0] & _NEW:
                return
            self.pause(_GLANCE_MS)
        raise NoAnswer(f"I2C address 0x{self.options.address:02X} never ends its measurement")


class Bme680(_Bme68x):
    """BME680: −40 to 85 °C ±1.0, 0 to 100 %RH ±3, 300 to 1100 hPa ±0.6 (from memory), and Ω."""

    model = "bme680"
    kind = BME680


class Bme688(_Bme68x):
    """BME688: −40 to 85 °C ±1.0, 0 to 100 %RH ±3, 300 to 1100 hPa ±0.6 (from memory), and Ω."""

    model = "bme688"
    kind = BME688
