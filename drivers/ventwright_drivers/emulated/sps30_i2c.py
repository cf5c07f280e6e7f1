"""Twin of the SPS30 on I2C: measures as floats or whole numbers, sleeps, and is woken in two tries.

Source: protocols.md section 5.
"""

import struct

from ventwright_drivers.emulated.sensing_twin import SensingTwin, text
from ventwright_drivers.emulated.twin import not_acknowledged

_START, _SLEEP, _WAKE, _INTERVAL, _TYPE = 0x0010, 0x1001, 0x1103, 0x8004, 0xD002
_FLOATS, _WHOLE = 0x0300, 0x0500
_WAKE_WINDOW_MS = 100
_TYPICAL_UM = 0.5


class Sps30I2CTwin(SensingTwin):
    """An SPS30 with its SEL pin to GND."""

    models = ("sps30-i2c",)
    address = 0x69
    read_code, stop_ms, start_ms = 0x0300, 20, 20
    interval_s = 604_800
    asleep = False
    _floats = True
    _woken_until = -1

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a command; asleep, only a second wake within 100 ms of the first."""
        if self.asleep:
            self._stir(code, now)
        elif code == _START and words in ((_FLOATS,), (_WHOLE,)):
            self.begin(now)
            self._floats = words == (_FLOATS,)
        elif code == _SLEEP and not words and self.started is None:
            self.asleep = True
        elif code == _INTERVAL:
            self._set_interval(words, now)
        elif code == _TYPE and not words:
            self.work(now, 1, *text("00080000", 4))
        elif code == 0x0021 or (code == _WAKE and words):
            raise not_acknowledged()
        elif code != _WAKE:
            super().obey(code, words, now)

    def _stir(self, code: int, now: int) -> None:
        if code != _WAKE or now > self._woken_until:
            self._woken_until = now + _WAKE_WINDOW_MS
            raise not_acknowledged()
        self.asleep = False
        self.work(now, 5)

    def _set_interval(self, words: tuple[int, ...], now: int) -> None:
        if len(words) == 2:
            high, low = words
            self.interval_s = high << 16 | low
            self.work(now, 20)
        elif words:
            raise not_acknowledged()
        else:
            self.work(now, 5, self.interval_s >> 16, self.interval_s & 0xFFFF)

    def taken(self, now: int) -> tuple[int, ...]:  # noqa: ARG002
        """Measure: four masses, five numbers from 0.3 µm up to a size, a typical size."""
        mass = [self.air(name) for name in ("pm1", "pm2_5", "pm4", "pm10")]
        above = [self.air(name) for name in ("n0_5", "n1", "n2_5")]
        whole = self.air("n0_3")
        number = [whole - part for part in (*above, above[-1] / 2, 0.0)]
        if self._floats:
            raw = struct.pack(">10f", *mass, *number, _TYPICAL_UM)
        else:
            values = [*mass, *number, 1000 * _TYPICAL_UM]
            raw = struct.pack(">10H", *(min(0xFFFF, max(0, round(value))) for value in values))
        return struct.unpack(f">{len(raw) // 2}H", raw)
