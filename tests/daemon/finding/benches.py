"""Ports and buses to look at: each with an emulated part, all that is sent being kept."""

import os
import select
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from fakes import FakeClock, TwinPort, wiring
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.twin import SerialTwin
from ventwright_drivers.part import Wiring
from ventwright_drivers.quantities import QUANTITIES
from ventwright_drivers.serial.link import open_serial

AIR = {name: min(max(40.0, q.lowest), q.highest) for name, q in QUANTITIES.items()}
AIR |= {"co2": 612.0, "n0_3": 21.3, "n0_5": 6.1, "n1": 0.98, "n2_5": 0.09, "n5": 0.02, "n10": 0.01}
AIR |= {"temperature": 23.4, "humidity": 45.6, "pm1": 12.0, "pm2_5": 18.0, "pm10": 21.0}
SPEEDS = {"sps30": 115_200}


class Silence(SerialTwin):
    """A port with nothing at its far end; keeps what it is sent."""

    models = ()

    def __init__(self, said: bytes = b"") -> None:
        self.said = said
        self.heard = b""

    def due(self) -> int | None:
        return 0 if self.said else None

    def emit(self, now: int) -> bytes:
        said, self.said = self.said, b""
        return said

    def receive(self, data: bytes, now: int) -> None:
        self.heard += data


class Echo(Silence):
    """An adapter that returns what it is sent, with nothing behind it."""

    def receive(self, data: bytes, now: int) -> None:
        self.heard += data
        self.said += data


class Desk:
    """A wiring with one port; what is at another speed hears and says nothing."""

    def __init__(self, twin: SerialTwin, baud: int = 9600) -> None:
        self.clock = FakeClock()
        self.sent: list[tuple[int, bytes]] = []
        self._twin, self._baud = twin, baud
        self.wiring = wiring(self.clock, open_port=self._open)

    def _open(self, path: str, baud: int, *_: Any) -> Any:
        port = TwinPort(self.clock, self._twin if baud == self._baud else Silence())
        write = port.write

        def kept(data: bytes, /) -> int:
            self.sent.append((baud, data))
            return write(data)

        port.write = kept  # type: ignore[method-assign]
        return port


class HostClock(FakeClock):
    """Fake time for a real terminal: every byte crosses it, however slow the machine is."""

    def __init__(self, host: PtyHost) -> None:
        super().__init__()
        self._host = host
        self._said = b""
        host.meddle = self._meddle

    def _meddle(self, data: bytes) -> bytes:
        self._said += data
        return data

    def wait_readable(self, fd: int, until: int) -> bool:
        while True:
            self._host.service(self.time)
            patience = 30 if self._said else 0
            self._said = b""
            if select.select([fd], [], [], patience)[0]:
                return True
            if self.time >= until:
                return False
            due = self._host.due()
            self.time = until if due is None else min(until, max(due, self.time + 1))


class _HostPort:
    """A real port whose writes have arrived when they return."""

    def __init__(self, port: Any, host: PtyHost) -> None:
        self._port, self._host = port, host

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)

    def write(self, data: bytes, /) -> int | None:
        written: int | None = self._port.write(data)
        assert select.select([self._host._master], [], [], 30)[0]
        self._host.service(self._host_time())
        return written

    def _host_time(self) -> int:
        return self.clock.time  # type: ignore[no-any-return]

    clock: Any = None


def host_wiring(host: PtyHost) -> Wiring:
    """Wire to a real pseudo-terminal on fake time."""
    clock = HostClock(host)

    def opened(*args: Any) -> Any:
        port = _HostPort(open_serial(*args), host)
        port.clock = clock
        return port

    return wiring(clock, open_port=opened)


class WatchedBus(EmulatedBus):
    """A bus that keeps every write, and knows at which addresses none may happen."""

    def __init__(self, now: Callable[[], int]) -> None:
        super().__init__(now)
        self.written: list[tuple[int, bytes]] = []

    def write(self, address: int, data: bytes) -> None:
        self.written.append((address, data))
        super().write(address, data)


def bus_wiring(bus: EmulatedBus, clock: FakeClock) -> Wiring:
    """Wire every bus number to one bus."""
    return wiring(clock, open_bus=lambda _: bus)


def quiet(_: str) -> None:
    """Tell nobody of the progress."""


@contextmanager
def holding(descriptor: int) -> Iterator[int]:
    """Give the number of a `cat` that has `descriptor` open, once it is past its start for sure.

    A process that is just being started cannot be looked into by every kind of root.
    """
    pipe = subprocess.PIPE
    with subprocess.Popen(["cat"], stdin=pipe, stdout=pipe, pass_fds=(descriptor,)) as cat:
        assert cat.stdin is not None
        assert cat.stdout is not None
        os.write(cat.stdin.fileno(), b"!")
        assert os.read(cat.stdout.fileno(), 1) == b"!"
        yield cat.pid
