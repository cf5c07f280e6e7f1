"""Relays behind a PCF8574: one byte to write, and pins, not that byte, to read back.

What was written cannot be read, so the process keeps it, once for all relays of a chip; it
begins as FF, which is what the chip powers up with, and is never taken from a read. A contact
that an earlier program left closed opens with the first command to any relay of the board. The
chip keeps its contacts when the host dies. Source: protocols.md section 21.
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

_POWER_ON = 0xFF


class Latch:
    """What a chip's eight lines were last commanded to be; changed under the bus's lock."""

    value = _POWER_ON


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
        self._latch.value = self.put(self._latch.value, on)
        transfer(i2c_msg.write(self.options.address, bytes((self._latch.value,))))

    def state(self) -> bool:
        """Read the pin: True where its level closes the contact; raises DeviceLost, NoAnswer."""
        return self.shows(self.link.read(1)[0])
