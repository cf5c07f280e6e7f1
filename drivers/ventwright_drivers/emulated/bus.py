"""An I2C bus made of twins: what smbus2's `i2c_rdwr` takes, answered as Linux would.

Open it in place of the real one: `open_bus=lambda number: EmulatedBus(clock.now)`. Faults are
put in by the test or the rehearsal: an error number or changed bytes, for some or for all calls.
"""

import ctypes
import errno
import os
from collections import Counter
from collections.abc import Callable
from typing import Any

from ventwright_drivers.emulated.twin import I2CTwin, not_acknowledged

_READ_FLAG = 1  # I2C_M_RD of the kernel
_IDLE = b"\xff"  # what a master reads when nobody pulls the line down

Fault = Callable[[bytes], bytes]


class _Faults:
    """Faults by address (None: every address), each with the times that it is still to happen."""

    def __init__(self) -> None:
        self._set: dict[int | None, tuple[Fault, float]] = {}

    def put(self, address: int | None, fault: Fault, times: int | None) -> None:
        self._set[address] = (fault, float("inf") if times is None else times)

    def clear(self) -> None:
        self._set.clear()

    def strike(self, address: int, data: bytes) -> bytes:
        for key in (address, None):
            fault, left = self._set.get(key, (bytes, 0))
            if left > 0:
                self._set[key] = (fault, left - 1)
                data = fault(data)
        return data


class EmulatedBus:
    """An I2C bus with twins plugged in."""

    def __init__(self, now: Callable[[], int]) -> None:
        """Make an empty bus on whose calls `now` tells the time, ms."""
        self._now = now
        self._twins: dict[int, I2CTwin] = {}
        self._errors = _Faults()
        self._garbage = _Faults()
        self.calls: Counter[int] = Counter()
        """Reads and writes tried so far, by address."""

    def plug(self, twin: I2CTwin) -> None:
        """Put a twin at its address; raises ValueError if that is taken."""
        if self._twins.setdefault(twin.address, twin) is not twin:
            raise ValueError(f"address 0x{twin.address:02X} is taken")

    def unplug(self, address: int) -> None:
        """Take away what is at `address`, if anything is."""
        self._twins.pop(address, None)

    def fail(self, number: int, address: int | None = None, times: int | None = None) -> None:
        """Raise OSError(`number`) from the next `times` calls, or all, at one address or all."""

        def fault(_: bytes) -> bytes:
            raise OSError(number, os.strerror(number))

        self._errors.put(address, fault, times)

    def garble(self, change: Fault, address: int | None = None, times: int | None = None) -> None:
        """Pass the next `times` replies, or all, through `change`, at one address or all."""
        self._garbage.put(address, change, times)

    def heal(self) -> None:
        """End all faults."""
        self._errors.clear()
        self._garbage.clear()

    def _twin(self, address: int) -> I2CTwin:
        self.calls[address] += 1
        self._errors.strike(address, b"")
        if address not in self._twins:
            raise not_acknowledged()
        return self._twins[address]

    def write(self, address: int, data: bytes) -> None:
        """Write to an address; raises OSError(EREMOTEIO) if nobody acknowledges."""
        self._twin(address).write(data, self._now())

    def read(self, address: int, size: int) -> bytes:
        """Read `size` bytes from an address; raises OSError(EREMOTEIO) if nobody acknowledges."""
        reply = self._twin(address).read(size, self._now())
        return self._garbage.strike(address, reply)[:size].ljust(size, _IDLE)

    def i2c_rdwr(self, *messages: Any) -> None:
        """Carry out smbus2's i2c_msg objects in order, filling those that read; raises OSError."""
        if not messages:
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        for message in messages:
            if message.flags & _READ_FLAG:
                ctypes.memmove(message.buf, self.read(message.addr, message.len), message.len)
            else:
                self.write(message.addr, bytes(message))

    def close(self) -> None:
        """Do nothing: the emulated bus outlives whoever opened it."""
