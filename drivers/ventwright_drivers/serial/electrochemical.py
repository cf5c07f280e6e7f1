"""Electrochemical gas parts: ZE07-CO for CO, ZE08-CH2O and WZ-S for formaldehyde.

They send by themselves once a second, or answer when asked; the two frames look alike and are
told apart by their second byte, never by the mode that the part should be in. Alcohol and other
solvents read as the gas. A fresh CO part needs one to two days to settle (from memory).

ZE07-CO is NOT a certified CO alarm and must never stand in for one.

Source: protocols.md sections 8 and 9.
"""

from typing import ClassVar, NamedTuple

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.link import FramedPart
from ventwright_drivers.serial.nine_bytes import decode, request, word

UPLOAD = request(0x78, 0x40)
"""Has the part send by itself, as it does after power-up."""

NO_ALARM = "this is not a certified CO alarm: keep one in the room"
"""Goes with every message about a CO part."""

_ANSWER = 0x86
_MOST_DECIMALS = 3
_HCHO = 30.03 / 24.45  # µg/m³ per ppb of formaldehyde: 30.03 g/mol, 24.45 l/mol at 25 °C, 1 atm


class Gas(NamedTuple):
    """How one gas is coded: its code and unit in an upload, and counts per canonical unit."""

    code: int
    unit: int
    per_unit: float
    per_answered: float


CO = Gas(0x04, 0x03, 1, 10)
"""ppm in an upload, with decimals; tenths of a ppm in an answer."""

HCHO = Gas(0x17, 0x04, 1 / _HCHO, 1)
"""ppb in an upload; µg/m³ in an answer."""


def sample(gas: Gas, frame: bytes) -> Sample | None:
    """Read CO in ppm or formaldehyde in µg/m³; None where the frame is of another unit."""
    if frame[1] == _ANSWER:
        return Sample((word(frame, 2) / gas.per_answered,))
    if frame[2] != gas.unit or frame[3] > _MOST_DECIMALS:
        return None
    return Sample((word(frame, 4) / 10 ** frame[3] / gas.per_unit,))


class _Electrochemical(FramedPart[Sample]):
    gas: ClassVar[Gas]
    silence_ms = 10_000
    warm_up_ms = 180_000  # of ZE07-CO and WZ-S from memory
    paced_by_part = True

    def decode(self, data: bytes) -> tuple[int, Sample | None]:
        """Decode uploads of this gas, and answers, which do not name theirs."""
        used, frame = decode((self.gas.code, _ANSWER), data)
        return used, sample(self.gas, frame) if frame else None

    def prepare(self) -> None:
        """Have the part send by itself, should another program have told it not to."""
        self.link.send(UPLOAD)

    def read(self) -> Sample:
        """Wait for the newest frame, normally one a second; raises NoAnswer, DeviceLost."""
        return self.reader.next(self.silence_ms)


class Ze07Co(_Electrochemical):
    """Measures CO, 0 to 500 ppm in steps of 0.1; NOT a certified CO alarm."""

    model = "ze07-co"
    quantities = ("co",)
    gas = CO

    def read(self) -> Sample:
        """Wait for CO, 0 to 500 ppm; raises NoAnswer, which says what this part is not."""
        try:
            return super().read()
        except NoAnswer as error:
            raise NoAnswer(f"{error}; {NO_ALARM}") from error


class Ze08Ch2o(_Electrochemical):
    """Measures formaldehyde, 0 to about 6140 µg/m³ (5 ppm); solvents read as formaldehyde."""

    model = "ze08-ch2o"
    quantities = ("hcho",)
    gas = HCHO


class WzS(_Electrochemical):
    """Measures formaldehyde, 0 to about 2460 µg/m³ (2 ppm); solvents read as formaldehyde."""

    model = "wz-s"
    quantities = ("hcho",)
    gas = HCHO
