"""Twins of SCD40 and SCD41: CO2, temperature and humidity every 5 s, and not a command more.

Source: protocols.md section 14. What it says of a running part is kept: all but four commands
are refused, reading empties the buffer, 500 ms of silence follow a stop.
"""

from ventwright_drivers.emulated.twin import not_acknowledged
from ventwright_drivers.emulated.word_twin import WordTwin, scaled

_READ, _READY, _STOP, _PRESSURE = 0xEC05, 0xE4B8, 0x3F86, 0xE000
_WHILE_MEASURING = {_READ, _READY, _STOP, _PRESSURE}
_PERIODS_MS = {0x21B1: 5000, 0x21AC: 30_000}
_WAKE, _POWER_DOWN, _PERSIST, _FACTORY, _RELOAD = 0x36F6, 0x36E0, 0x3615, 0x3632, 0x3646
_SET = {
    0x2416: "self_calibration",
    0x2427: "altitude",
    0x241D: "temperature_offset",
    _PRESSURE: "pressure",
}
_GET = {
    0x2313: "self_calibration",
    0x2322: "altitude",
    0x2318: "temperature_offset",
    _PRESSURE: "pressure",
}
_DEFAULTS = {"self_calibration": 1, "altitude": 0, "temperature_offset": 1498, "pressure": 1013}
_NOTHING_NEW, _SOMETHING_NEW = 0x8000, 0x8006


class Scd40Twin(WordTwin):
    """An SCD40."""

    models = ("scd40",)
    address = 0x62
    variant = 0x0440
    serial = (0xF896, 0x9F07, 0x3BBE)
    asleep = False
    persisted = 0
    """Times that settings were written to the EEPROM, which bears about 2000."""

    _period_ms = 0
    _next = 0
    _settings: dict[str, int] | None = None
    _stored: dict[str, int] = _DEFAULTS

    @property
    def settings(self) -> dict[str, int]:
        """What was set: self_calibration 0 or 1, altitude m, pressure hPa, temperature_offset."""
        if self._settings is None:
            self._settings = dict(self._stored)
        return self._settings

    @property
    def measuring(self) -> bool:
        """True between start and stop."""
        return self._period_ms > 0

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a command as the present state allows."""
        if self.measuring and code not in _WHILE_MEASURING:
            raise not_acknowledged()
        if len(words) == 1 and code in _SET:
            self.settings[_SET[code]] = words[0]
            self.work(now, 1)
        elif words:
            raise not_acknowledged()
        elif code in _GET:
            self.work(now, 1, self.settings[_GET[code]])
        else:
            self._act(code, now)

    def _act(self, code: int, now: int) -> None:
        answers = {0x3682: (1, *self.serial), 0x202F: (1, self.variant), 0x3639: (10_000, 0)}
        if code in _PERIODS_MS:
            self._period_ms = _PERIODS_MS[code]
            self._next = now + self._period_ms
        elif code == _STOP:
            self._period_ms = 0
            self.work(now, 500)
        elif code in (_READ, _READY):
            self._report(code, now)
        elif code in answers:
            self.work(now, *answers[code])
        else:
            self._keep(code, now)

    def _report(self, code: int, now: int) -> None:
        new = self.measuring and now >= self._next
        if code == _READY:
            self.work(now, 1, _SOMETHING_NEW if new else _NOTHING_NEW)
        elif new:
            self._next += self._period_ms * ((now - self._next) // self._period_ms + 1)
            self.work(now, 1, *self._taken())

    def _taken(self) -> tuple[int, int, int]:
        co2 = min(40_000, max(0, round(self.air("co2"))))
        temperature = scaled(self.air("temperature"), -45, 175)
        return co2, temperature, scaled(self.air("humidity"), 0, 100)

    def _keep(self, code: int, now: int) -> None:
        """Store settings or take them back."""
        if code == _PERSIST:
            self._stored = dict(self.settings)
            self.persisted += 1
            self.work(now, 800)
        elif code == _FACTORY:
            self._stored, self._settings = _DEFAULTS, None
            self.work(now, 1200)
        elif code == _RELOAD:
            self._settings = None
            self.work(now, 30)
        else:
            raise not_acknowledged()


class Scd41Twin(Scd40Twin):
    """An SCD41: can be powered down, and wakes without acknowledging."""

    models = ("scd41",)
    variant = 0x1440

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a command; asleep, only the one that wakes it."""
        if code == _WAKE and self.asleep:
            self.asleep = False
            self.work(now, 30)
        if code == _WAKE or self.asleep:
            raise not_acknowledged()
        if code == _POWER_DOWN and not self.measuring:
            self.asleep = True
        else:
            super().obey(code, words, now)
