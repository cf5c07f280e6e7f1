"""Twins of relay boards with a PCF8574 or an MCP23008, which record every contact that moves.

Lines that nobody drives are held high by the board's pull-ups. Source: protocols.md 21 and 22.
"""

from typing import ClassVar

from ventwright_drivers.emulated.register_twin import RegisterTwin
from ventwright_drivers.emulated.twin import I2CTwin


class _Board:
    """Eight relays by the levels of eight lines."""

    def __init__(self, active_low: bool, levels: int) -> None:
        self._active_low = active_low
        self.contacts = self._closed(levels)
        self.history: list[tuple[int, int, bool]] = []
        """Every change: time (ms), channel from 1, state."""

    def _closed(self, levels: int) -> list[bool]:
        return [bool(levels >> n & 1) != self._active_low for n in range(8)]

    def see(self, levels: int, now: int) -> None:
        """Let the contacts follow the lines."""
        before, self.contacts = self.contacts, self._closed(levels)
        for n, (old, new) in enumerate(zip(before, self.contacts, strict=True)):
            if old != new:
                self.history.append((now, n + 1, new))


class Pcf8574Twin(_Board, I2CTwin):
    """A board with a PCF8574."""

    models = ("relay-pcf8574",)

    def __init__(self, address: int = 0x20, *, active_low: bool = True) -> None:
        """Power up: all lines weakly high."""
        super().__init__(active_low, 0xFF)
        self.address = address
        self.latch = 0xFF
        self.held_low = 0
        """Lines that something else pulls to GND, as bits."""

    def power_up(self, now: int) -> None:
        """Lose power and get it back."""
        self.write(b"\xff", now)

    def write(self, data: bytes, now: int) -> None:
        """Drive the lines by every byte, one after the other."""
        for byte in data:
            self.latch = byte
            self.see(byte & ~self.held_low, now)

    def read(self, size: int, now: int) -> bytes:  # noqa: ARG002
        """Give the levels of the pins."""
        return bytes((self.latch & ~self.held_low,)) * size


class Mcp23008Twin(_Board, RegisterTwin):
    """A board with an MCP23008."""

    models = ("relay-mcp23008",)
    _DIRECTION: ClassVar[int] = 0x00
    _POLARITY: ClassVar[int] = 0x01
    _PORT: ClassVar[int] = 0x09
    _LATCH: ClassVar[int] = 0x0A

    def __init__(self, address: int = 0x20, *, active_low: bool = True) -> None:
        """Power up: all lines inputs, pulled so that the relays are open."""
        self._pulled = 0xFF if active_low else 0x00
        super().__init__(active_low, self._pulled)
        self.address = address
        self.registers = bytearray(b"\xff" + bytes(10))

    def power_up(self, now: int) -> None:
        """Lose power and get it back."""
        self.registers[:] = b"\xff" + bytes(10)
        self.see(self._levels(), now)

    def _levels(self) -> int:
        inputs = self.registers[self._DIRECTION]
        return self._pulled & inputs | self.registers[self._LATCH] & ~inputs & 0xFF

    def peek(self, register: int, now: int) -> int:  # noqa: ARG002
        """Give a register; the port shows the pins."""
        if register == self._PORT:
            return self._levels() ^ self.registers[self._POLARITY]
        return self.registers[register] if register < len(self.registers) else 0

    def poke(self, register: int, value: int, now: int) -> None:
        """Set a register; what is written to the port goes to the latch."""
        register = self._LATCH if register == self._PORT else register
        if register < 0x07 or register == self._LATCH:
            self.registers[register] = value
            self.see(self._levels(), now)
