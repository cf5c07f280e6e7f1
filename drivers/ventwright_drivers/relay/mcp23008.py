"""Relays behind an MCP23008, whose lines are inputs until its owner has said what they shall show.

Levels are written before the direction: the other way round, every relay of an active-low board
closes for a moment. Only the line of a relay that was commanded becomes an output, so relays of
one board never touch each other. A chip that lost its power shows all lines as inputs; the next
command sets it up again. It keeps its contacts when the host dies. There is no checksum, so what
is read, to be written back for the other relays, is read twice. Source: protocols.md 22.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Interval
from smbus2 import i2c_msg

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import Transfer, exchange
from ventwright_drivers.relay.expander import ExpanderRelay

_DIRECTION, _LATCH = 0x00, 0x0A
_GLANCES = 3


@dataclass(frozen=True)
class Mcp23008Options:
    """Which relay of which board."""

    bus: Annotated[int, Ge(0)] = 1
    """Number of the bus: 1 is /dev/i2c-1."""

    address: Literal[0x20, 0x21, 0x22, 0x23, 0x24, 0x25, 0x26, 0x27] = 0x20
    """0x20 to 0x27, by the pins A0 to A2."""

    channel: Annotated[int, Interval(ge=1, le=8)] = 1
    """The relay's number as printed on the board, 1 to 8."""

    active_low: bool = True
    """True where a low level closes the contact."""


class Mcp23008Relay(ExpanderRelay):
    """One of eight relays on an MCP23008."""

    model = "relay-mcp23008"
    Options = Mcp23008Options

    def _get(self, transfer: Transfer, register: int) -> int:
        """Read a register until it says the same twice running; raises NoAnswer, OSError."""
        seen = self._glance(transfer, register)
        for _ in range(_GLANCES):
            before, seen = seen, self._glance(transfer, register)
            if seen == before:
                return seen
        where = f"I2C address 0x{self.options.address:02X}"
        raise NoAnswer(f"{where} says something else each time: look at its cable and pull-ups")

    def _glance(self, transfer: Transfer, register: int) -> int:
        return exchange(transfer, self.options.address, bytes((register,)), 1)[0]

    def _put(self, transfer: Transfer, register: int, value: int) -> None:
        transfer(i2c_msg.write(self.options.address, bytes((register, value))))

    def switch(self, on: bool) -> None:
        """Close (True) or open the contact, the others staying; raises DeviceLost, NoAnswer."""
        self.link.transact(lambda transfer: self._switch(transfer, on))

    def _switch(self, transfer: Transfer, on: bool) -> None:
        direction, levels = self._get(transfer, _DIRECTION), self._get(transfer, _LATCH)
        self._put(transfer, _LATCH, self.put(levels, on))
        if direction & self.mask:
            self._put(transfer, _DIRECTION, direction & ~self.mask)

    def state(self) -> bool:
        """Tell whether the line is driven to close the contact; raises DeviceLost, NoAnswer."""
        return self.link.transact(self._state)

    def _state(self, transfer: Transfer) -> bool:
        driven = not self._get(transfer, _DIRECTION) & self.mask
        return self.shows(self._get(transfer, _LATCH)) and driven
