"""Twins of SEN54, SEN55, SEN66 and SEN68, with their markers for what is not known yet.

Source: protocols.md sections 16 and 17.
"""

from typing import ClassVar

from ventwright_drivers.emulated.sensing_twin import SensingTwin, text
from ventwright_drivers.emulated.twin import not_acknowledged

_UNKNOWN, _UNKNOWN_SIGNED = 0xFFFF, 0x7FFF
_NAME = 0xD014
_PPB_PER_UG = 24.45 / 30.03  # formaldehyde, at 25 °C and 1 atm
_SELF_CALIBRATION, _PRESSURE, _ALTITUDE = 0x6711, 0x6720, 0x6736


def _unsigned(value: float) -> int:
    return min(0xFFFE, max(0, round(value)))


def _signed(value: float) -> int:
    return min(0x7FFE, max(-0x8000, round(value))) & 0xFFFF


class _SenTwin(SensingTwin):
    nox_after_ms: ClassVar[int | None] = 10_000

    def _since(self, now: int) -> int:
        return 0 if self.started is None else now - self.started

    def taken(self, now: int) -> tuple[int, ...]:
        """Measure: four masses, humidity, temperature, two indices."""
        mass = (_unsigned(10 * self.air(name)) for name in ("pm1", "pm2_5", "pm4", "pm10"))
        climate = _signed(100 * self.air("humidity")), _signed(200 * self.air("temperature"))
        return (*mass, *climate, _signed(10 * self.air("voc_index")), self._nox(now))

    def _nox(self, now: int) -> int:
        if self.nox_after_ms is None or self._since(now) < self.nox_after_ms:
            return _UNKNOWN_SIGNED
        return _signed(10 * self.air("nox_index"))

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a command; the name is asked for here."""
        if code == _NAME and not words:
            self.work(now, 1, *text(self.models[0].upper(), 16))
        else:
            super().obey(code, words, now)


class Sen54Twin(_SenTwin):
    """An SEN54: never knows NOx."""

    models = ("sen54",)
    address = 0x69
    read_code, stop_ms = 0x03C4, 160
    nox_after_ms = None


class Sen55Twin(_SenTwin):
    """An SEN55."""

    models = ("sen55",)
    address = 0x69
    read_code, stop_ms = 0x03C4, 160


class _Sen6xTwin(_SenTwin):
    address = 0x6B
    stop_ms, first_ms, reset_ms = 1000, 1100, 1200
    cleans_while_measuring = False


class Sen66Twin(_Sen6xTwin):
    """An SEN66: CO2 after 5 s."""

    models = ("sen66",)
    read_code = 0x0300
    _settings: dict[int, int] | None = None

    @property
    def settings(self) -> dict[int, int]:
        """What was set, by command: 6711 self-calibration, 6720 pressure hPa, 6736 altitude m."""
        if self._settings is None:
            self._settings = {_SELF_CALIBRATION: 1, _PRESSURE: 1013, _ALTITUDE: 0}
        return self._settings

    def taken(self, now: int) -> tuple[int, ...]:
        """Measure as the SEN55, and CO2."""
        known = self._since(now) >= 5000
        return (*super().taken(now), _unsigned(self.air("co2")) if known else _UNKNOWN)

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a command; all settings but the pressure only while idle."""
        if code not in self.settings:
            super().obey(code, words, now)
        elif len(words) > 1 or (self.started is not None and code != _PRESSURE):
            raise not_acknowledged()
        else:
            self.settings[code] = words[0] if words else self.settings[code]
            self.work(now, 1, *(() if words else (self.settings[code],)))


class Sen68Twin(_Sen6xTwin):
    """An SEN68: formaldehyde after 60 s."""

    models = ("sen68",)
    read_code = 0x0467

    def taken(self, now: int) -> tuple[int, ...]:
        """Measure as the SEN55, and formaldehyde."""
        known = self._since(now) >= 60_000
        ppb = _unsigned(10 * _PPB_PER_UG * self.air("hcho"))
        return (*super().taken(now), ppb if known else _UNKNOWN)
