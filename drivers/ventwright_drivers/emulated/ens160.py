"""Twin of the ENS160: modes, validity by time since power-up, and news that a reading takes away.

Source: protocols.md section 18. The firmware version is made up.
"""

from ventwright_drivers.emulated.register_twin import RegisterTwin
from ventwright_drivers.emulated.twin import Air

_PERIOD_MS = 1000
_SLEEP, _IDLE, _STANDARD, _RESET = 0x00, 0x01, 0x02, 0xF0
_MODE, _COMMAND, _STATUS, _VERSION = 0x10, 0x12, 0x20, 0x0E
_CLIMATE, _USED = range(0x13, 0x17), range(0x30, 0x34)
_DATA, _GPR = range(0x21, 0x26), range(0x48, 0x50)
_ROOM = b"\x8a\x4a\x00\x64"  # 25 °C, 50 %RH
_AQI = ((65, 1), (220, 2), (650, 3), (2200, 4))  # TVOC up to ppb, from memory
_FIRMWARE = (5, 4, 6)


class Ens160Twin(RegisterTwin):
    """An ENS160 that has its first start-up behind it."""

    models = ("ens160",)
    mode = _SLEEP
    error = False
    """Whether the status shows an error."""
    validity: int | None = None
    """What the part says of its values, 0 to 3; None: warming up for as long as it should."""

    def __init__(
        self, air: Air, address: int = 0x53, *, powered_at: int = 0, warm_up_ms: int = 60_000
    ) -> None:
        """Measure `air`; be warm `warm_up_ms` after `powered_at` (ms)."""
        self.air = air
        self.address = address
        self.climate = bytearray(_ROOM)
        """What the values are corrected by, as written."""
        self._warm_at = powered_at + warm_up_ms
        self._next = 0
        self._gpr = bytearray(8)
        self._new_gpr = False

    def read(self, size: int, now: int) -> bytes:
        """Give bytes; a read that goes over the values takes away the mark of news first."""
        touched = range(self._pointer, self._pointer + size)
        reply_of_news = set(touched) & set(_DATA) and self._news(now)
        if reply_of_news:
            self._next = now - (now - self._next) % _PERIOD_MS + _PERIOD_MS
        return super().read(size, now)

    def _news(self, now: int) -> bool:
        return self.mode == _STANDARD and now >= self._next

    def _status(self, now: int) -> int:
        if self.mode != _STANDARD:
            return int(self._new_gpr)
        validity = int(now < self._warm_at) if self.validity is None else self.validity
        bits = 0x80 | self.error << 6 | validity << 2 | self._news(now) << 1
        return bits | self._new_gpr

    def _values(self) -> bytes:
        tvoc = min(65_000, max(0, round(self.air("tvoc"))))
        eco2 = min(65_000, max(400, round(self.air("eco2"))))
        aqi = next((index for most, index in _AQI if tvoc <= most), 5)
        return bytes((aqi,)) + tvoc.to_bytes(2, "little") + eco2.to_bytes(2, "little")

    def peek(self, register: int, now: int) -> int:
        """Give a byte."""
        if register == _STATUS:
            return self._status(now)
        if register in _DATA:
            measured = self._values() if self.mode == _STANDARD else bytes(5)
            return measured[register - _DATA.start]
        return self._kept(register)

    def _kept(self, register: int) -> int:
        blocks = ((_CLIMATE, self.climate), (_USED, self.climate), (_GPR, self._gpr))
        for place, block in blocks:
            if register in place:
                self._new_gpr = self._new_gpr and place is not _GPR
                return block[register - place.start]
        return {0x00: 0x60, 0x01: 0x01, _MODE: self.mode}.get(register, 0)

    def poke(self, register: int, value: int, now: int) -> None:
        """Change mode, obey a command, or take the air to correct by."""
        if register == _MODE:
            self._change(value, now)
        elif register in _CLIMATE:
            self.climate[register - _CLIMATE.start] = value
        elif register == _COMMAND and self.mode == _IDLE and value == _VERSION:
            self._gpr[4:7] = bytes(_FIRMWARE)
            self._new_gpr = True

    def _change(self, mode: int, now: int) -> None:
        if mode == _RESET:
            self.mode = _SLEEP
            self.climate[:] = _ROOM
        elif mode in (_SLEEP, _IDLE, _STANDARD) and mode != self.mode:
            self.mode = mode
            self._next = now + _PERIOD_MS
