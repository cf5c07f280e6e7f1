"""Twin of the ADS1115: four inputs with analog gas elements behind them, one conversion at a time.

Until a conversion is over, its result register holds the one before. Source: protocols.md 20.
"""

from collections.abc import Mapping
from typing import NamedTuple

from ventwright_drivers.emulated.twin import Air, I2CTwin, not_acknowledged

_RESULT, _CONFIG = 0, 1
_POWER_ON = (0, 0x8583, 0x8000, 0x7FFF)
_FULL_SCALES = (6144, 4096, 2048, 1024, 512, 256, 256, 256)
_RATES = (8, 16, 32, 64, 128, 250, 475, 860)
_PAIRS = ((0, 1), (0, 3), (1, 3), (2, 3))


class Element(NamedTuple):
    """An analog element: what it senses, its voltage at 0, mV, and its slope, mV a unit."""

    quantity: str
    zero_mv: float
    mv_per_unit: float


class Ads1115Twin(I2CTwin):
    """An ADS1115 with its own power, elements at some inputs, the others open at 0 V."""

    models = ("ads1115",)

    def __init__(
        self, air: Air, address: int = 0x48, elements: Mapping[int, Element] | None = None
    ) -> None:
        """Power up; by default a CO element of 400 mV and 10 mV/ppm is at input 0."""
        self.air = air
        self.address = address
        self.elements = dict(elements or {0: Element("co", 400.0, 10.0)})
        self.conversions = 0
        """Conversions begun so far."""
        self._registers = list(_POWER_ON)
        self._pointer = 0
        self._done: int | None = None

    def millivolt(self, number: int) -> float:
        """Give the voltage at an input, mV."""
        if number not in self.elements:
            return 0.0
        element = self.elements[number]
        return element.zero_mv + element.mv_per_unit * self.air(element.quantity)

    def write(self, data: bytes, now: int) -> None:
        """Set the pointer, and a register if two bytes follow; raises OSError(EREMOTEIO)."""
        if len(data) not in (1, 3) or data[0] > 3:
            raise not_acknowledged()
        self._end(now)
        self._pointer = data[0]
        if len(data) == 3 and self._pointer != _RESULT:
            self._set(int.from_bytes(data[1:], "big"), now)

    def _set(self, word: int, now: int) -> None:
        self._registers[self._pointer] = word
        if self._pointer == _CONFIG and word & 0x8000 and word & 0x0100:
            self.conversions += 1
            self._registers[_CONFIG] &= 0x7FFF
            self._done = now - -1000 // _RATES[word >> 5 & 7]
        elif self._pointer == _CONFIG:
            self._registers[_CONFIG] |= 0x8000

    def _end(self, now: int) -> None:
        if self._done is not None and now >= self._done:
            self._done = None
            self._registers[_RESULT] = self._converted()
            self._registers[_CONFIG] |= 0x8000

    def _converted(self) -> int:
        word = self._registers[_CONFIG]
        mux = word >> 12 & 7
        high, low = _PAIRS[mux] if mux < 4 else (mux - 4, None)
        mv = self.millivolt(high) - (0.0 if low is None else self.millivolt(low))
        counts = round(mv * 32768 / _FULL_SCALES[word >> 9 & 7])
        return min(0x7FFF, max(-0x8000, counts)) & 0xFFFF

    def read(self, size: int, now: int) -> bytes:
        """Give the register at the pointer, its high byte first, over and over."""
        self._end(now)
        word = self._registers[self._pointer].to_bytes(2, "big")
        return (word * (size // 2 + 1))[:size]
