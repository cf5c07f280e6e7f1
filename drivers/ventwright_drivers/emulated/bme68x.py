"""Twins of BME680 and BME688: measure once when forced to, with the published calibration.

They turn air into register values by the formulas for whole numbers, the driver turns them back
by those for floating point. Source: protocols.md section 19.
"""

from collections.abc import Callable
from typing import ClassVar

from ventwright_drivers.emulated.register_twin import RegisterTwin
from ventwright_drivers.emulated.twin import Air

_RESET, _CHIP, _VARIANT = 0xE0, 0xD0, 0xF0
_PLATE, _HEATING, _HEATER, _GAS, _HUMIDITY, _FORCE = 0x5A, 0x64, 0x70, 0x71, 0x72, 0x74
_FIELD = range(0x1D, 0x2E)
_WRITABLE = {*range(0x5A, 0x6E), *range(0x70, 0x76)}
_PLATE_HOT_MS = 20
_RESET_MS = 2
_IMAGE = {
    0x89: "00 65 67 03 00 41 8F ED D6 58 00 8E 1C 7F FF 2E 1E 00 00 97 F3 B5 F6 1E 00",
    0xE1: "40 54 2A 00 2D 14 78 9C B9 65 4E 9F E2 12 00 00",
    0x00: "30 00 10 00 00",
}
_T1, _T2, _T3 = 26041, 26469, 3
_P1, _P2, _P3, _P4, _P5 = 36673, -10515, 88, 7310, -129
_P6, _P7, _P8, _P9, _P10 = 30, 46, -3177, -2379, 30
_H1, _H2, _H3, _H4, _H5, _H6, _H7 = 676, 1029, 0, 45, 20, 120, -100


def fine(adc: int) -> int:
    """Compute the temperature in 1/5120 °C that both other formulas need."""
    v1 = (adc >> 3) - 2 * _T1
    return (v1 * _T2 >> 11) + ((v1 >> 1) ** 2 >> 12) * 16 * _T3 // 16384


def hundredths(t_fine: int) -> int:
    """Compute the temperature, 0.01 °C."""
    return 5 * t_fine + 128 >> 8


def pascal(adc: int, t_fine: int) -> int:
    """Compute the pressure, Pa."""
    v1 = (t_fine >> 1) - 64000
    v2 = (((v1 >> 2) ** 2 >> 11) * _P6 >> 2) + 2 * v1 * _P5
    v2 = (v2 >> 2) + 65536 * _P4
    v1 = (((v1 >> 2) ** 2 >> 13) * (_P3 * 32) >> 3) + (_P2 * v1 >> 1) >> 18
    v1 = (32768 + v1) * _P1 >> 15
    p = (1048576 - adc - (v2 >> 12)) * 3125
    p = p // v1 * 2 if p >= 1 << 31 else 2 * p // v1
    w1 = _P9 * ((p >> 3) ** 2 >> 13) >> 12
    w2 = (p >> 2) * _P8 >> 13
    w3 = (p >> 8) ** 3 * _P10 >> 17
    return p + (w1 + w2 + w3 + 128 * _P7 >> 4)


def thousandths(adc: int, t_fine: int) -> int:
    """Compute the relative humidity, 0.001 %RH."""
    t = hundredths(t_fine)
    v1 = adc - 16 * _H1 - (t * _H3 // 100 >> 1)
    bend = (t * (t * _H5 // 100) >> 6) // 100
    v2 = _H2 * (t * _H4 // 100 + bend + 16384) >> 10
    v3 = v1 * v2
    v4 = 128 * _H6 + t * _H7 // 100 >> 4
    v5 = (v3 >> 14) ** 2 >> 10
    return min(100_000, max(0, ((v3 + (v4 * v5 >> 1)) >> 10) * 1000 >> 12))


def adc_for(shown: Callable[[int], float], wanted: float, bits: int) -> int:
    """Find the lowest reading of `bits` bits at which a rising formula shows `wanted`, or most."""
    low, high = 0, (1 << bits) - 1
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if shown(middle) >= wanted else (middle + 1, high)
    return low


def _gas_680(ohm: float, step: int) -> float:
    k1 = {5: 0.99, 7: 0.992, 10: 0.998, 11: 0.995, 13: 0.99}.get(step, 1)
    k2 = {4: 1.001, 5: 1.007, 7: 0.992, 8: 0.999}.get(step, 1)
    return 512 + 1340 * k1 * (8_000_000 / (k2 * ohm * (1 << step)) - 1)


def _gas_688(ohm: float, step: int) -> float:
    return 512 + (1e6 * (262144 >> step) / ohm - 4096) / 3


class Bme680Twin(RegisterTwin):
    """A BME680."""

    models = ("bme680",)
    variant: ClassVar[int] = 0
    run_gas: ClassVar[int] = 1
    gas_at: ClassVar[int] = 13
    gas: ClassVar[tuple[Callable[[float, int], float]]] = (_gas_680,)
    """How a resistance, Ω, becomes a reading in a range."""

    def __init__(self, air: Air, address: int = 0x76) -> None:
        """Measure `air`."""
        self.air = air
        self.address = address
        self.measured = 0
        """Measurements begun so far."""
        self._fixed: dict[int, int] = {}
        for first, image in _IMAGE.items():
            self._fixed |= dict(enumerate(bytes.fromhex(image), first))
        self._fixed |= {_CHIP: 0x61, _VARIANT: self.variant}
        self._power_up()

    def _power_up(self) -> None:
        self.settings = dict.fromkeys(_WRITABLE, 0)
        """Registers that can be written, by address."""
        self._field = bytearray.fromhex("00 00 80 00 00 80 00 00 80 00 00 00 00 00 00 00 00")
        self._done: int | None = None

    def split(self, data: bytes) -> list[tuple[int, int]]:
        """Pair registers and bytes: after the first byte, each has a register before it."""
        return list(zip(data[::2], data[1::2], strict=False))

    def read(self, size: int, now: int) -> bytes:
        """Give bytes; results that were read are not new any more."""
        first = self._pointer
        reply = super().read(size, now)
        if first + size > _FIELD.start + 2 and first in _FIELD:
            self._field[0] &= 0x7F
        return reply

    def peek(self, register: int, now: int) -> int:
        """Give a byte, after ending the measurement if its time has come."""
        if self._done is not None and now >= self._done:
            self._finish()
        if register in _FIELD:
            return self._field[register - _FIELD.start]
        return self.settings.get(register, self._fixed.get(register, 0))

    def poke(self, register: int, value: int, now: int) -> None:
        """Take a setting, reset, or start a measurement."""
        if register == _RESET and value == 0xB6:
            self._power_up()
            self.deaf(now + _RESET_MS)
        elif register in _WRITABLE:
            self.settings[register] = value
            if register == _FORCE and value & 3 == 1:
                self._begin(now)

    def _counts(self) -> list[int]:
        """Give how often temperature, pressure and humidity are measured, 0 to 16 times."""
        control = self.settings[_FORCE]
        codes = (control >> 5, control >> 2 & 7, self.settings[_HUMIDITY] & 7)
        return [1 << min(code, 5) - 1 if code else 0 for code in codes]

    def _heats(self) -> bool:
        asked = self.settings[_GAS] >> 4 & 3 == self.run_gas
        return asked and not self.settings[_HEATER] & 8 and self.settings[_PLATE] > 0

    def _heating_ms(self) -> int:
        code = self.settings[_HEATING]
        return (code & 63) << 2 * (code >> 6)

    def _begin(self, now: int) -> None:
        self.measured += 1
        microseconds = 1963 * sum(self._counts()) + 477 * 9 + 1000
        ms = -(-microseconds // 1000) + (self._heating_ms() if self._heats() else 0)
        self._done = now + ms
        self._field[0] = 0x20

    def _finish(self) -> None:
        self._done = None
        self.settings[_FORCE] &= ~3
        warm, heavy, humid = self._counts()
        temperature = adc_for(lambda a: hundredths(fine(a)), 100 * self.air("temperature"), 20)
        t_fine = fine(temperature)
        pressure = adc_for(lambda a: -pascal(a, t_fine), -100 * self.air("pressure"), 20)
        humidity = adc_for(lambda a: thousandths(a, t_fine), 1000 * self.air("humidity"), 16)
        for at, adc in ((2, pressure if heavy else 0x80000), (5, temperature if warm else 0x80000)):
            self._field[at : at + 3] = (adc << 4).to_bytes(3, "big")
        self._field[8:10] = (humidity if humid else 0x8000).to_bytes(2, "big")
        self._field[0] = 0x80
        self._field[self.gas_at : self.gas_at + 2] = self._gas_bytes()

    def _gas_bytes(self) -> bytes:
        if not self._heats():
            return bytes(2)
        ohm = max(1.0, self.air("gas_resistance"))
        found = [(round(self.gas[0](ohm, step)), step) for step in range(16)]
        adc, step = next((pair for pair in found if 0 <= pair[0] <= 1023), (1023, 15))
        stable = self._heating_ms() >= _PLATE_HOT_MS
        return bytes((adc >> 2, (adc & 3) << 6 | 0x20 | stable << 4 | step))


class Bme688Twin(Bme680Twin):
    """A BME688."""

    models = ("bme688",)
    variant = 1
    run_gas = 2
    gas_at = 15
    gas = (_gas_688,)
