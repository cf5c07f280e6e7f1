"""Twins of SGP40 and SGP41: raw signals, and a count of how long the NOx element was conditioned.

Source: protocols.md section 15.
"""

from ventwright_drivers.emulated.twin import not_acknowledged
from ventwright_drivers.emulated.word_twin import WordTwin

_HEATER_OFF, _SERIAL, _FEATURES = 0x3615, 0x3682, 0x202F
_SELF_TEST, _PASSED = 0x280E, {"sgp40": 0xD400, "sgp41": 0}


def _ticks(value: float) -> int:
    return min(0xFFFF, max(0, round(value)))


class Sgp40Twin(WordTwin):
    """An SGP40."""

    models = ("sgp40",)
    address = 0x59
    serial = (0x0000, 0x0123, 0x4567)
    heater = False
    climate = (0, 0)
    """The words of humidity and temperature that it was last told."""

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a command; those that measure want the two words of the climate."""
        if len(words) == 2 and self._measure(code, now):
            self.heater = True
            self.climate = words
        elif words or not self._keep(code, now):
            raise not_acknowledged()

    def _measure(self, code: int, now: int) -> bool:
        if code == 0x260F:
            self.work(now, 30, _ticks(self.air("voc_raw")))
        return code == 0x260F

    def _keep(self, code: int, now: int) -> bool:
        answers = {_SERIAL: (1, *self.serial), _FEATURES: (1, 0x3240)}
        answers[_SELF_TEST] = (320, _PASSED[self.models[0]])
        if code == _HEATER_OFF:
            self.heater = False
            self.work(now, 1)
        elif code in answers:
            self.work(now, *answers[code])
        return code == _HEATER_OFF or code in answers


class Sgp41Twin(Sgp40Twin):
    """An SGP41."""

    models = ("sgp41",)
    conditionings = 0
    """Seconds of conditioning since power-up; more than 10 can harm a real part."""

    def _measure(self, code: int, now: int) -> bool:
        if code == 0x2612:
            self.conditionings += 1
            self.work(now, 50, _ticks(self.air("voc_raw")))
        elif code == 0x2619:
            self.work(now, 50, _ticks(self.air("voc_raw")), _ticks(self.air("nox_raw")))
        return code in (0x2612, 0x2619)
