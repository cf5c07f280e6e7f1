"""Emulated gas parts that talk in frames of nine bytes. Source: protocols.md sections 7 to 9.

They compute the sum as the manuals put it, (FF − sum) + 1, and not as the drivers do.
"""

from abc import abstractmethod

from ventwright_drivers.emulated.talking import TalkingTwin, word
from ventwright_drivers.emulated.twin import Air

_READ, _MODE, _SELF_CALIBRATION, _ZERO, _SPAN, _RANGE = 0x86, 0x78, 0x79, 0x87, 0x88, 0x99
_PREHEATING_PPM = 410  # what some parts say while they preheat (from memory)
_PPB_UG = 24.45 / 30.03  # ppb of formaldehyde for 1 µg/m³ at 25 °C and 1 atm


def framed(body: bytes) -> bytes:
    """Put FF before seven bytes and their sum behind them."""
    return b"\xff" + body + bytes(((0xFF - (sum(body) & 0xFF)) + 1 & 0xFF,))


class _NineByteTwin(TalkingTwin):
    def hear(self, data: bytes, now: int) -> int:
        """Obey whole frames to address 1 with a right sum; pass over all else."""
        if data[0] != 0xFF:
            return 1
        if len(data) < 9:
            return 0
        if framed(data[1:8]) != data[:9] or data[1] != 0x01:
            return 1
        self.obey(data[2], data[3:8], now)
        return 9

    @abstractmethod
    def obey(self, code: int, values: bytes, now: int) -> None:
        """Carry out a command; unknown ones are passed over."""


class _MhZ19Twin(_NineByteTwin):
    preheat_ms: int
    confirms = False
    """Whether this unit acknowledges settings, as some do."""

    def __init__(self, air: Air, reply_ms: int = 20, self_calibration: bool = True) -> None:
        """Power up, with self-calibration as it was stored."""
        super().__init__(air, reply_ms)
        self.self_calibration = self_calibration
        self.range = 5000
        self.calibrations = 0
        """How often it was told to take the present air for a known one."""

    def obey(self, code: int, values: bytes, now: int) -> None:
        """Answer readings; take settings, mostly without a word."""
        if code == _READ:
            celsius = bytes((40 + 25,))
            self.reply(framed(b"\x86" + word(self._ppm(now)) + celsius + bytes(3)), now)
        elif code == _SELF_CALIBRATION:
            self.self_calibration = values[0] == 0xA0
        elif code in (_ZERO, _SPAN):
            self.calibrations += 1
        elif code == _RANGE:
            self.range = int.from_bytes(values[3:5], "big")
        if self.confirms and code in (_SELF_CALIBRATION, _RANGE):
            self.reply(framed(bytes((code, 0x01)) + bytes(5)), now)

    def _ppm(self, now: int) -> float:
        preheating = self.born is not None and now - self.born < self.preheat_ms
        return _PREHEATING_PPM if preheating else min(self.air("co2"), self.range)


class MhZ19BTwin(_MhZ19Twin):
    """An MH-Z19B of the quiet kind."""

    models = ("mh-z19b",)
    preheat_ms = 180_000


class MhZ19CTwin(_MhZ19Twin):
    """An MH-Z19C that acknowledges settings."""

    models = ("mh-z19c",)
    preheat_ms = 60_000
    confirms = True


class _UploadTwin(_NineByteTwin):
    head: bytes
    full_scale: int

    def __init__(self, air: Air, reply_ms: int = 20, speaks: bool = True) -> None:
        """Power up; `speaks` is False for a part that was told to wait for questions."""
        super().__init__(air, reply_ms)
        self.speaks = speaks

    def obey(self, code: int, values: bytes, now: int) -> None:
        """Change the mode, or answer in question mode."""
        if code == _MODE and values[0] in (0x40, 0x41):
            self.speaks = values[0] == 0x40
        elif code == _READ and not self.speaks:
            self.reply(framed(b"\x86" + self.answer()), now)

    def unasked(self, now: int) -> bytes:  # noqa: ARG002
        """Upload the value, in counts, and the full scale."""
        return framed(self.head + word(self.counts()) + word(self.full_scale))

    @abstractmethod
    def counts(self) -> float:
        """Measure in the counts of an upload."""

    @abstractmethod
    def answer(self) -> bytes:
        """Give the six bytes of an answer."""


class Ze07CoTwin(_UploadTwin):
    """A ZE07-CO: tenths of a ppm."""

    models = ("ze07-co",)
    head = b"\x04\x03\x01"
    full_scale = 5000

    def counts(self) -> float:
        """Measure in 0.1 ppm."""
        return min(10 * self.air("co"), self.full_scale)

    def answer(self) -> bytes:
        """Give 0.1 ppm, and zeros."""
        return word(self.counts()) + bytes(4)


class Ze08Ch2oTwin(_UploadTwin):
    """A ZE08-CH2O: ppb up to 5000."""

    models = ("ze08-ch2o",)
    head = b"\x17\x04\x00"
    full_scale = 5000

    def counts(self) -> float:
        """Measure in ppb."""
        return min(self.air("hcho") * _PPB_UG, self.full_scale)

    def answer(self) -> bytes:
        """Give µg/m³ and ppb."""
        return word(self.counts() / _PPB_UG) + bytes(2) + word(self.counts())


class WzSTwin(Ze08Ch2oTwin):
    """A WZ-S: ppb up to 2000."""

    models = ("wz-s",)
    full_scale = 2000
