"""Relays behind a PCF8574: one byte to write, and pins, not that byte, to read back.

What was written cannot be read, so the process keeps it, once for all relays of a chip. It begins
as what the pins show, read at the first command and never again: written back, they move no
contact but the commanded one, so one that an earlier program left closed stays closed. A line
that something else pulls low at that moment is kept low, as its contact is already. The chip
keeps its contacts when the host dies. Source: protocols.md section 21, but for its advice to
begin with FF, which would open every other contact of the board.
"""

from collections.abc import MutableMapping
from dataclasses import dataclass
from typing import Annotated, Literal
from weakref import WeakKeyDictionary

from annotated_types import Ge, Interval
from smbus2 import i2c_msg

from ventwright_drivers.i2c.link import Transfer
from ventwright_drivers.part import Wiring
from ventwright_drivers.relay.expander import ExpanderRelay


class Latch:
    """What a chip's eight lines were last commanded to be, None before the first command.

    Changed under the bus's lock.
    """

    value: int | None = None

    def known(self, transfer: Transfer, address: int) -> int:
        """Give the eight lines, low where their pins are low in both of two reads; raises OSError.

        There is no checksum: a bit that falls over once must not close a contact.
        """
        if self.value is None:
            self.value = _pins(transfer, address) | _pins(transfer, address)
        return self.value


def _pins(transfer: Transfer, address: int) -> int:
    message = i2c_msg.read(address, 1)
    transfer(message)
    return bytes(message)[0]


_latches: MutableMapping[Wiring, dict[tuple[int, int], Latch]] = WeakKeyDictionary()


def latch(wiring: Wiring, bus: int, address: int) -> Latch:
    """Give the one latch of a chip, the same for all relays and as long as the wiring lives."""
    return _latches.setdefault(wiring, {}).setdefault((bus, address), Latch())


@dataclass(frozen=True)
class Pcf8574Options:
    """Which relay of which board."""

    bus: Annotated[int, Ge(0)] = 1
    """Number of the bus: 1 is /dev/i2c-1."""

    # fmt: off
    address: Literal[
        0x20, 0x21, 0x22, 0x23, 0x24, 0x25, 0x26, 0x27,
        0x38, 0x39, 0x3A, 0x3B, 0x3C, 0x3D, 0x3E, 0x3F,
    ] = 0x20
    # fmt: on
    """0x20 to 0x27, or 0x38 to 0x3F for the type with an A behind its number."""

    channel: Annotated[int, Interval(ge=1, le=8)] = 1
    """The relay's number as printed on the board, 1 to 8."""

    active_low: bool = True
    """True where a low level closes the contact; with False all contacts close at power-up."""


class Pcf8574Relay(ExpanderRelay):
    """One of eight relays on a PCF8574."""

    model = "relay-pcf8574"
    Options = Pcf8574Options

    def __init__(self, options: Pcf8574Options, wiring: Wiring) -> None:
        """Remember options and wiring, and share the chip's latch; touches no wire."""
        super().__init__(options, wiring)
        self._latch = latch(wiring, options.bus, options.address)

    def switch(self, on: bool) -> None:
        """Close (True) or open the contact, the others staying; raises DeviceLost, NoAnswer."""
        self.link.transact(lambda transfer: self._switch(transfer, on))

    def _switch(self, transfer: Transfer, on: bool) -> None:
        address = self.options.address
        wanted = self.put(self._latch.known(transfer, address), on)
        self._latch.value = wanted
        transfer(i2c_msg.write(address, bytes((wanted,))))

    def state(self) -> bool:
        """Read the pin: True where its level closes the contact; raises DeviceLost, NoAnswer."""
        return self.shows(self.link.read(1)[0])
