"""SPS30 on a serial port (SEL pin left open): particle mass and number, once a second.

The part cleans its fan by itself after a week of running, but counts from power-up: one that is
switched off weekly would never do so. Hence `clean_every`, counted from the first start.
Source: protocols.md section 4.
"""

import struct
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from ventwright_drivers.cleaning import CleaningOptions, Schedule
from ventwright_drivers.errors import NoAnswer, Refused
from ventwright_drivers.i2c.sps30 import FAULTS, sample
from ventwright_drivers.i2c.word_part import named
from ventwright_drivers.part import Sample, Wiring
from ventwright_drivers.serial.link import FramedPart, SerialOptions
from ventwright_drivers.serial.shdlc import Reply, decode, request

_START, _STOP, _READ, _WAKE, _CLEAN, _STATUS = 0x00, 0x01, 0x03, 0x11, 0x56, 0xD2
_AS_FLOATS = (0x01, 0x03)
_STIR = b"\xff"  # wakes the port of a sleeping part, which loses it
_REPLY_MS = 500  # replies take 20 ms, a reset 100 ms
_ERROR = 0x80
_WORDS = {
    0x01: "wrong data length",
    0x02: "unknown command",
    0x03: "no access right",
    0x04: "parameter out of range",
    0x05: "wrong checksum",
    0x28: "argument out of range",  # from memory
    0x43: "not allowed in the present state",
}


@dataclass(frozen=True)
class Sps30Options(CleaningOptions, SerialOptions):
    """Where an SPS30 is, and how often its fan is to be cleaned."""


class Sps30(FramedPart[Reply]):
    """SPS30: 0 to 1000 µg/m³; PM2.5 ±10 µg/m³ up to 100, ±10 % above; PM4, PM10 extrapolated."""

    model = "sps30"
    Options = Sps30Options
    quantities = ("pm1", "pm2_5", "pm4", "pm10", "n0_3", "n0_5", "n1", "n2_5")
    baud = 115_200
    silence_ms = 20_000  # fan cleaning takes 10 s, without a new value
    warm_up_ms = 30_000  # in clean air (from memory)
    optical_mass = True
    laser_hours = 87_600  # over ten years on end
    _heard = 0

    def __init__(self, options: Any, wiring: Wiring) -> None:
        """Remember options and wiring, and plan the cleanings."""
        super().__init__(options, wiring)
        self._cleanings = Schedule(options.clean_every)

    def decode(self, data: bytes) -> tuple[int, Reply | None]:
        """Decode replies."""
        return decode(data)

    def prepare(self) -> None:
        """Wake the part, stop what an earlier program started, and start measuring.

        Raises NoAnswer, Refused, DeviceLost.
        """
        self.link.send(_STIR)
        with suppress(Refused):  # an awake part need not know the command
            self._ask(_WAKE)
        with suppress(Refused):  # an idle part has nothing to stop
            self._ask(_STOP)
        self._ask(_START, *_AS_FLOATS)
        self._heard = self.clock.now()
        self._cleanings.begin(self._heard)

    def read(self) -> Sample | None:
        """Take the newest sample, None if it was taken before.

        Raises NoAnswer after `silence_ms` without one, Refused, DeviceLost.
        """
        self._clean_in_time()
        reply = self._ask(_READ)
        if not reply.data and self.clock.now() - self._heard < self.silence_ms:
            return None
        if len(reply.data) != 40:
            raise NoAnswer(f"{self.place} gives no measurement ({len(reply.data)} bytes)")
        self._heard = self.clock.now()
        return sample(struct.unpack(">10f", reply.data), self._fault(reply.state))

    def _clean_in_time(self) -> None:
        if self._cleanings.due(self.clock.now()):
            self._ask(_CLEAN)
            self._heard = self.clock.now()  # nothing new comes while it cleans

    def _fault(self, state: int) -> str:
        with suppress(Refused):  # old firmware has no status
            words = struct.unpack(">HHx", self._ask(_STATUS, 0x00).data.ljust(5, b"\0")[:5])
            if found := named(words, FAULTS):
                return found
        return "the part reports an error" if state & _ERROR else ""

    def _ask(self, command: int, *values: int) -> Reply:
        self.link.send(request(command, *values))
        until = self.clock.now() + _REPLY_MS
        while True:
            replies = self.reader.frames(max(0, until - self.clock.now()))
            if found := [reply for reply in replies if reply.command == command]:
                return self._accepted(found[-1])

    def _accepted(self, reply: Reply) -> Reply:
        if code := reply.state & ~_ERROR:
            why = _WORDS.get(code, "unknown reason")
            raise Refused(f"{self.place} refused command {reply.command:02X}: {code:02X}, {why}")
        return reply
