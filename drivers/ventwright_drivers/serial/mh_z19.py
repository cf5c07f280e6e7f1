"""MH-Z19B and MH-Z19C: CO2 by infrared absorption, asked for once every two seconds.

While it preheats the part sends values that are no measurements, often a constant one: they
are told by time, not by value (from memory). The temperature that it also sends is that of its
own case and undocumented, so it is not used. Source: protocols.md section 7.
"""

from dataclasses import dataclass

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.link import FramedPart, SerialOptions
from ventwright_drivers.serial.nine_bytes import READ, decode, request, word

_ANSWER, _SELF_CALIBRATION = 0x86, 0x79
_ON, _OFF = 0xA0, 0x00
_REPLY_MS = 1000


@dataclass(frozen=True)
class MhZ19Options(SerialOptions):
    """Where the part is, and what air it expects."""

    self_calibration: bool = False
    """Let the part take each day's lowest reading for fresh air (400 ppm): leave it off in rooms
    that never air out, or its readings drift low."""


def sample(frame: bytes) -> Sample:
    """Read CO2, 1 to 65535 ppm; 0 is what the part says before it knows (from memory): None."""
    return Sample((word(frame, 2) or None,))


class _MhZ19(FramedPart[bytes]):
    Options = MhZ19Options
    quantities = ("co2",)
    period_ms = 2000
    silence_ms = 10_000

    def decode(self, data: bytes) -> tuple[int, bytes | None]:
        """Cut answers to the reading command, and nothing else."""
        return decode((_ANSWER,), data)

    def prepare(self) -> None:
        """Set self-calibration, which some parts forget with the power and none confirms."""
        self.link.send(request(_SELF_CALIBRATION, _ON if self.options.self_calibration else _OFF))

    def read(self) -> Sample:
        """Ask for CO2, 1 to 65535 ppm, again every second; raises NoAnswer, DeviceLost."""
        until = self.clock.now() + self.silence_ms
        while True:
            self.link.send(READ)
            try:
                return sample(self.reader.next(_REPLY_MS))
            except NoAnswer as error:
                if self.clock.now() >= until:
                    whole = f"asked again and again for {self.silence_ms / 1000:g} s"
                    raise NoAnswer(f"{error}, {whole}") from error


class MhZ19B(_MhZ19):
    """Measures CO2, 0 to 10000 ppm at most, ±(50 ppm + 5 %) (accuracy from memory)."""

    model = "mh-z19b"
    warm_up_ms = 180_000


class MhZ19C(_MhZ19):
    """Measures CO2, 400 to 5000 ppm, ±(50 ppm + 5 %)."""

    model = "mh-z19c"
    warm_up_ms = 60_000
