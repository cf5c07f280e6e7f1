"""A serial part of the world: a twin behind a real pseudo-terminal, with every byte waited for.

Pseudo-terminals deliver through a kernel thread, a little later. So that nothing depends on how
much later, bytes are counted at both ends and each side moves on only when all have arrived.
"""

import fcntl
import os
import random
import struct
import termios
import time
from collections.abc import Callable
from pathlib import Path

from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.twin import SerialTwin

_PATIENCE_S = 1.0
"""How long bytes may take that must come; then they are given up (it never was a millisecond)."""

_NOBODY_READS = 2048
"""Bytes that lie unread in a port before they are thrown away, as a real port would."""


class _Counting(SerialTwin):
    """A twin that counts what it hears."""

    def __init__(self, twin: SerialTwin) -> None:
        self.twin = twin
        self.heard = 0

    def receive(self, data: bytes, now: int) -> None:
        self.heard += len(data)
        self.twin.receive(data, now)

    def due(self) -> int | None:
        return self.twin.due()

    def emit(self, now: int) -> bytes:
        return self.twin.emit(now)


def _until(arrived: Callable[[], bool]) -> bool:
    end = time.monotonic() + _PATIENCE_S
    while not arrived():
        if time.monotonic() > end:
            return False
        os.sched_yield()
    return True


class Port:
    """One serial part of the world."""

    def __init__(self, twin: SerialTwin, path: Path, noise: random.Random) -> None:
        """Plug a twin in under the stable `path`; raises OSError."""
        self.twin = twin
        self.path = str(path)
        self._noise = noise
        self._garbling = False
        self._said = 0
        self._counting = _Counting(twin)
        self._host = PtyHost(self._counting, path, meddle=self._pass)
        self._far = -1
        self._base = 0
        self._hold()

    def _hold(self) -> None:
        self._far = os.open(self.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    def _pass(self, data: bytes) -> bytes:
        if self._garbling:
            data = bytes(byte ^ self._noise.randrange(1, 256) for byte in data)
        self._said += len(data)
        return data

    def due(self) -> int | None:
        """Tell when the twin next sends something by itself, ms."""
        return self._host.due() if self._host.plugged_in else None

    def begin(self) -> None:
        """Take note that the keeper starts to count from nothing."""
        self._base = self._counting.heard

    def collect(self, sent: int, now: int) -> None:
        """Give the twin all that the keeper wrote: `sent` bytes since `begin`, at `now` (ms)."""
        if self._base + sent == self._counting.heard:
            return
        if self._host.plugged_in:
            _until(lambda: self._hears(self._base + sent, now))
        self._base = self._counting.heard - sent  # what was lost with a plug never comes

    def _hears(self, total: int, now: int) -> bool:
        self._speak(now)
        return self._counting.heard >= total

    def serve(self, now: int) -> None:
        """Let the twin say what is due at `now` (ms), and see it arrive."""
        self._speak(now)

    def _speak(self, now: int) -> None:
        before, self._said = self._unread(), 0
        self._host.service(now)
        if self._said and self._host.plugged_in:
            _until(lambda: self._unread() >= before + self._said)

    def _unread(self) -> int:
        if self._far < 0:
            return 0
        waiting: int = struct.unpack("i", fcntl.ioctl(self._far, termios.FIONREAD, bytes(4)))[0]
        if waiting <= _NOBODY_READS:
            return waiting
        termios.tcflush(self._far, termios.TCIFLUSH)
        return 0

    def act(self, action: str) -> None:
        """Break or heal: hang up, plug in, mute, unmute, garble, heal."""
        if action in ("hang up", "plug in"):
            self._let_go()
            self._host.hang_up()
        if action == "plug in":
            self._host.plug_in()
            self._hold()
        if action in ("mute", "unmute"):
            self._host.mute = action == "mute"
        if action in ("garble", "heal"):
            self._garbling = action == "garble"

    def _let_go(self) -> None:
        if self._far >= 0:
            os.close(self._far)
            self._far = -1

    def close(self) -> None:
        """Unplug for good."""
        self._let_go()
        self._host.close()
