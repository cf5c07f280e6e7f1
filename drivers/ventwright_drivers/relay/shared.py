"""A serial port that several relays share: contacts of one board, or boards on one line.

One descriptor and one lock a port, so that no frame falls into another's answer. Whoever waits
for the lock waits on the clock. Source: protocols.md sections 10 and 11, for what is on the line.
"""

import os
import threading
from abc import abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager

from ventwright_drivers.errors import BadOption, DeviceLost
from ventwright_drivers.part import Relay, Wiring
from ventwright_drivers.serial.link import SerialLink

Setup = tuple[int, str, int]
"""Bits a second, parity (N, E, O), stop bits."""

_GLANCE_MS = 5

_open: dict[tuple[int, str], "SharedPort"] = {}
_open_lock = threading.Lock()


class SharedPort:
    """An open port, kept as long as some relay uses it, and what is known of its far end."""

    def __init__(self, wiring: Wiring, path: str, setup: Setup) -> None:
        """Open the port; raises DeviceLost. Use `join`, which shares it."""
        self.key = _key(wiring, path)
        self.path = path
        self.setup = setup
        self.users = 0
        self.free_at = 0
        """When the far end will listen again, ms."""
        self.echoes: bool | None = None
        """Whether the adapter returns our own bytes; None = not known yet."""
        self._wiring = wiring  # kept alive, so that its id in the key stays its own
        self._link = SerialLink(wiring, path, *setup)
        self._busy = threading.Lock()
        self._lost = False

    @contextmanager
    def alone(self) -> Iterator[SerialLink]:
        """Have the open link to oneself; raises DeviceLost, and then whoever starts reopens it."""
        clock = self._wiring.clock
        while not self._busy.acquire(blocking=False):
            clock.sleep_until(clock.now() + _GLANCE_MS)
        try:
            clock.sleep_until(self.free_at)
            yield self._alive()
        except DeviceLost:
            self._drop()
            raise
        finally:
            self._busy.release()

    def _alive(self) -> SerialLink:
        if self._lost:
            raise DeviceLost(f"{self.path} was lost")
        return self._link

    def _drop(self) -> None:
        """Close the port for all who share it."""
        with _open_lock:
            self._end()

    def leave(self) -> None:
        """Do without the port; the last one closes it."""
        with _open_lock:
            self.users -= 1
            if not self.users:
                self._end()

    def _end(self) -> None:
        """Close the port once, and let nobody join it any more; must hold the lock of all."""
        if not self._lost:
            self._lost = True
            del _open[self.key]
            self._link.close()


def _key(wiring: Wiring, path: str) -> tuple[int, str]:
    return id(wiring), os.path.realpath(path)


def join(wiring: Wiring, path: str, setup: Setup) -> SharedPort:
    """Use a port, opening it if nobody has; raises DeviceLost, and BadOption for another setup."""
    with _open_lock:
        key = _key(wiring, path)
        port = _open.get(key) or SharedPort(wiring, path, setup)
        if port.setup != setup:
            raise BadOption(f"{path} is open at {port.setup}, and {setup} is asked for")
        _open[key] = port
        port.users += 1
        return port


class SerialRelay(Relay):
    """A relay on a serial port, which others of the same kind may share."""

    _port: SharedPort | None = None

    @property
    @abstractmethod
    def setup(self) -> Setup:
        """How the line is set up."""

    @property
    def port(self) -> SharedPort:
        """The open port; raises DeviceLost before start and after close."""
        if self._port is None:
            raise DeviceLost(f"{self.options.port} is not open")
        return self._port

    def start(self) -> None:
        """Open the port and send nothing; raises DeviceLost."""
        self.close()
        self._port = join(self.wiring, self.options.port, self.setup)

    def close(self) -> None:
        """Leave the port; the contact stays as it is."""
        port, self._port = self._port, None
        if port is not None:
            port.leave()
