"""Relay boards that speak Modbus RTU: function 05 to switch, function 01 to read back.

Source: protocols.md section 11; the protocol's own text is confirmed there, timing and the
habits of boards are from memory. Most boards have no watchdog: a contact stays as it is when
the host dies.
"""

from dataclasses import dataclass
from functools import partial
from typing import Annotated, Literal

from annotated_types import Interval

from ventwright_drivers.checksums import crc16_modbus
from ventwright_drivers.errors import NoAnswer, Refused
from ventwright_drivers.relay.shared import SerialRelay, Setup
from ventwright_drivers.serial.link import FrameReader, SerialLink

READ, WRITE = 0x01, 0x05
_ERROR = 0x80  # added to the function in an exception reply
_WORDS = {1: "illegal function", 2: "illegal address", 3: "illegal value", 4: "device failure"}
_REPLY_MS = 500
_COPY_MS = 100  # how long to look for a reply behind what may be our own echo


@dataclass(frozen=True)
class ModbusOptions:
    """Where the board is, how its line is set, and which of its relays is meant."""

    port: str
    """Path of the port; prefer /dev/serial/by-path/..., which survives replugging."""

    address: Annotated[int, Interval(ge=1, le=247)] = 1
    """The board's address on the line, 1 to 247."""

    coil: Annotated[int, Interval(ge=1, le=65_536)] = 1
    """The relay's number as printed on the board, from 1; one less goes over the wire."""

    baud: Annotated[int, Interval(ge=1200, le=115_200)] = 9600
    """Bits per second, 1200 to 115200; boards mostly use 9600."""

    parity: Literal["N", "E", "O"] = "N"
    """N for none (boards mostly), E for even (the standard's default), O for odd."""

    stop_bits: Literal[1, 2] = 1
    """Stop bits, 1 or 2."""


def encode(address: int, function: int, coil: int, value: int) -> bytes:
    """Build a request of 8 bytes about a coil numbered from 1, `value` being the last word."""
    words = (coil - 1).to_bytes(2, "big") + value.to_bytes(2, "big")
    body = bytes((address, function)) + words
    return body + crc16_modbus(body).to_bytes(2, "little")


_SIZES = {READ: 6, WRITE: 8, READ | _ERROR: 5, WRITE | _ERROR: 5}  # of replies about one coil


def _whole(request: bytes, data: bytes) -> int:
    """Tell how long the frame at the start of `data` is; 0 if there is no valid one."""
    if data.startswith(request):
        return len(request)
    size = _SIZES.get(data[1], 0) if data[0] == request[0] and len(data) > 1 else 0
    return size if size <= len(data) and not crc16_modbus(data[:size]) else 0


def decode(request: bytes, data: bytes) -> tuple[int, bytes | None]:
    """Cut the first whole frame that answers `request` (or is its echo) from `data`.

    Frames of another address or with a wrong CRC are passed over. Never raises.
    """
    for at in range(len(data)):
        if size := _whole(request, data[at:]):
            return at + size, data[at : at + size]
    return 0, None


class ModbusRelay(SerialRelay):
    """Switches one coil of a Modbus RTU board, and reads it back."""

    model = "relay-modbus"
    Options = ModbusOptions

    @property
    def setup(self) -> Setup:
        """How the line is set up, by the options."""
        return self.options.baud, self.options.parity, self.options.stop_bits

    def switch(self, on: bool) -> None:
        """Command the contact; raises DeviceLost, NoAnswer, or Refused with the board's reason.

        An adapter's echo looks like success: `state` tells for certain.
        """
        self._ask(WRITE, 0xFF00 if on else 0)

    def state(self) -> bool | None:
        """Read the contact back by function 01; raises as `switch` does."""
        return bool(self._ask(READ, 1)[3] & 1)

    def _ask(self, function: int, value: int) -> bytes:
        request = encode(self.options.address, function, self.options.coil, value)
        with self.port.alone() as link:
            reply = self._exchange(link, request)
            self.port.free_at = self.clock.now() + self._silence_ms()
        if reply[1] & _ERROR:
            words = _WORDS.get(reply[2], "unknown reason")
            raise Refused(f"{self.options.port} refused: exception {reply[2]:02}, {words}")
        if reply[1] != function:
            raise NoAnswer(f"{self.options.port} answered another question")
        return reply

    def _exchange(self, link: SerialLink, request: bytes) -> bytes:
        port, reader = self.port, FrameReader(link, partial(decode, request))
        link.discard()
        link.send(request)
        frames = reader.frames(_REPLY_MS)
        if frames[0] != request:
            port.echoes = False
        elif request[1] == READ or port.echoes:
            port.echoes = True
            frames = frames[1:] or reader.frames(_REPLY_MS)
        elif port.echoes is None:
            frames += self._second(reader)
            port.echoes = len(frames) > 1 or None
        return frames[-1]

    def _second(self, reader: FrameReader[bytes]) -> list[bytes]:
        try:
            return reader.frames(_COPY_MS)
        except NoAnswer:
            return []

    def _silence_ms(self) -> int:
        """Give the time of 3.5 characters of 11 bits, at least 1.75 ms, in whole ms."""
        return max(2, -(-38_500 // int(self.options.baud)))
