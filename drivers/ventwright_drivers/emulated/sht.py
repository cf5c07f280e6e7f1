"""Twins of the SHT3x and SHT4x families: temperature and humidity.

Source: protocols.md sections 12 and 13. Times are the part's own, not what hosts should wait.
"""

from ventwright_drivers.emulated.twin import not_acknowledged
from ventwright_drivers.emulated.word_twin import WordTwin, scaled

_SINGLE_MS = {0x2400: 15, 0x240B: 6, 0x2416: 4}
_PERIODS_MS = {0x20: 2000, 0x21: 1000, 0x22: 500, 0x23: 250, 0x27: 100}
_PERIODIC = {
    *(0x2032, 0x2024, 0x202F, 0x2130, 0x2126, 0x212D, 0x2236, 0x2220, 0x222B),
    *(0x2334, 0x2322, 0x2329, 0x2737, 0x2721, 0x273A),
}
_FETCH, _BREAK, _RESET, _STATUS, _CLEAR = 0xE000, 0x3093, 0x30A2, 0xF32D, 0x3041
_HEATER = {0x306D: True, 0x3066: False}
_WHILE_PERIODIC = {_FETCH, _BREAK, _STATUS, _CLEAR, *_HEATER}

_SHT4X_SERIAL, _SHT4X_RESET = 0x89, 0x94
_SHT4X_MS = {0xFD: 9, 0xF6: 5, 0xE0: 2}
_SHT4X_MS |= {0x39: 1100, 0x2F: 1100, 0x1E: 1100, 0x32: 110, 0x24: 110, 0x15: 110}  # heater on


class _ShtTwin(WordTwin):
    address = 0x44
    low: float
    span: float

    def taken(self) -> tuple[int, int]:
        """Measure now: the words of temperature and humidity."""
        humidity = scaled(self.air("humidity"), self.low, self.span)
        return scaled(self.air("temperature"), -45, 175), humidity


class Sht3xTwin(_ShtTwin):
    """An SHT30, SHT31 or SHT35."""

    models = ("sht30", "sht31", "sht35")
    low, span = 0, 100
    heater = False
    _period_ms = 0
    _next = 0

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a command; in periodic mode only the few that are allowed there."""
        if words or (self._period_ms and code not in _WHILE_PERIODIC):
            raise not_acknowledged()
        if code in _SINGLE_MS:
            self.work(now, _SINGLE_MS[code], *self.taken())
        elif code in _PERIODIC:
            self._period_ms = _PERIODS_MS[code >> 8]
            self._next = now + self._period_ms
        else:
            self._housekeeping(code, now)

    def _housekeeping(self, code: int, now: int) -> None:
        if code == _FETCH:
            self._fetch(now)
        elif code in (_BREAK, _RESET):
            self._period_ms = 0
            self.heater = self.heater and code == _BREAK
            self.work(now, 1)
        elif code == _STATUS:
            self.work(now, 0, self.heater << 13)
        elif code in _HEATER:
            self.heater = _HEATER[code]
        elif code != _CLEAR:
            raise not_acknowledged()

    def _fetch(self, now: int) -> None:
        if not self._period_ms or now < self._next:
            return  # the command is acknowledged, the read that follows is not
        self._next += self._period_ms * ((now - self._next) // self._period_ms + 1)
        self.work(now, 0, *self.taken())


class Sht4xTwin(_ShtTwin):
    """An SHT40, SHT41 or SHT45."""

    models = ("sht40", "sht41", "sht45")
    low, span = -6, 125
    serial = 0x0F1E2D3C

    def split(self, data: bytes) -> tuple[int, bytes]:
        """Part a write into its one-byte command and what follows."""
        return data[0] if data else -1, data[1:]

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a one-byte command."""
        if words or code not in {*_SHT4X_MS, _SHT4X_SERIAL, _SHT4X_RESET}:
            raise not_acknowledged()
        if code == _SHT4X_RESET:
            self.work(now, 1)
        elif code == _SHT4X_SERIAL:
            self.work(now, 1, self.serial >> 16, self.serial & 0xFFFF)
        else:
            self.work(now, _SHT4X_MS[code], *self.taken())
