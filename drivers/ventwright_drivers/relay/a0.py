"""Relay boards on USB that obey four bytes: A0, channel, operation, sum.

Source: protocols.md section 10, operations 00 to 05 confirmed there. The relays are off after
power-up and have no watchdog: a contact stays as it is when the host dies.
"""

from dataclasses import dataclass
from functools import partial
from typing import Annotated

from annotated_types import Interval

from ventwright_drivers.checksums import sum8
from ventwright_drivers.errors import Refused
from ventwright_drivers.relay.shared import SerialRelay, Setup
from ventwright_drivers.serial.link import FrameReader, SerialLink

_HEAD = 0xA0
_QUERY = 0x05
_GAP_MS = 100  # 50 to 100 ms between frames (from memory)
_REPLY_MS = 500


@dataclass(frozen=True)
class A0Options:
    """Where the board is, which of its relays is meant, and whether it answers."""

    port: str
    """Path of the port; prefer /dev/serial/by-path/..., for all such adapters share one id."""

    channel: Annotated[int, Interval(ge=1, le=8)] = 1
    """The relay's number as printed on the board, 1 to 8."""

    answers: bool = False
    """True if the board answers operations 02, 03 and 05; many, and all of one channel, do not."""


def encode(channel: int, operation: int) -> bytes:
    """Build a frame for a channel (1 to 8) and an operation (0 to 5)."""
    body = bytes((_HEAD, channel, operation))
    return bytes((*body, sum8(body)))


def decode(channel: int, data: bytes) -> tuple[int, bool | None]:
    """Decode the first reply about `channel`: True for a closed contact. Never raises."""
    at = data.find(_HEAD)
    if at:
        return (len(data) if at < 0 else at), None
    if len(data) < 4:
        return 0, None
    if data[3] != sum8(data[:3]) or data[1] != channel or data[2] > 1:
        return 1, None
    return 4, bool(data[2])


class A0Relay(SerialRelay):
    """Switches one relay of an A0 board, 9600 baud, open loop unless the board answers."""

    model = "relay-a0"
    Options = A0Options
    setup: Setup = (9600, "N", 1)

    def switch(self, on: bool) -> None:
        """Command the contact; raises DeviceLost, and of an answering board NoAnswer, Refused."""
        if not self.options.answers:
            with self.port.alone() as link:
                self._send(link, int(on))
        elif self._ask(2 + on) is not on:
            raise Refused(f"{self.options.port} answers that the contact is {_words(not on)}")

    def state(self) -> bool | None:
        """Read the contact back, None from a board that does not answer; raises as `switch`."""
        return self._ask(_QUERY) if self.options.answers else None

    def _send(self, link: SerialLink, operation: int) -> None:
        link.discard()
        link.send(encode(self.options.channel, operation))
        self.port.free_at = self.clock.now() + _GAP_MS

    def _ask(self, operation: int) -> bool:
        with self.port.alone() as link:
            self._send(link, operation)
            return FrameReader(link, partial(decode, self.options.channel)).next(_REPLY_MS)


def _words(on: bool) -> str:
    return "closed" if on else "open"
