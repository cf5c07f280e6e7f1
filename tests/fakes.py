"""What tests hand to drivers in place of time, ports and buses."""

import threading
from collections import deque
from collections.abc import Callable
from itertools import count
from typing import Any, Protocol

from ventwright_drivers.clock import Inbox
from ventwright_drivers.emulated.twin import SerialTwin
from ventwright_drivers.part import SerialPort, Wiring

_NUMBERS = count(1_000_000)  # descriptors that no system gives


class Source(Protocol):
    """What a FakeClock needs of a fake port to wait on it."""

    def ready(self) -> bool: ...
    def due(self) -> int | None: ...


class FakeInbox:
    def __init__(self, clock: "FakeClock") -> None:
        self._clock = clock
        self._items: deque[object] = deque()

    def put(self, item: object) -> None:
        self._items.append(item)

    def get(self, until: int | None) -> object | None:
        if self._items:
            return self._items.popleft()
        if until is not None:
            self._clock.sleep_until(until)
        return None


class FakeClock:
    """Time (ms) that passes only while someone waits; `waits` records every wait."""

    def __init__(self, start: int = 0) -> None:
        self.time = start
        self.waits: list[int] = []
        self.stopped = False
        self._sources: dict[int, Source] = {}

    def now(self) -> int:
        return self.time

    def stop(self) -> None:
        self.stopped = True

    def sleep_until(self, until: int) -> None:
        if until > self.time and not self.stopped:
            self.waits.append(until - self.time)
            self.time = until

    def watch(self, source: Source) -> int:
        """Give a fake descriptor on which `wait_readable` waits for `source`."""
        number = next(_NUMBERS)
        self._sources[number] = source
        return number

    def wait_readable(self, fd: int, until: int) -> bool:
        source = self._sources[fd]
        while not self.stopped:
            if source.ready():
                return True
            if self.time >= until:
                return False
            due = source.due()
            self.time = until if due is None else min(until, max(due, self.time + 1))
        return False

    def inbox(self) -> Inbox[object]:
        return FakeInbox(self)

    def spawn(self, name: str, run: Callable[[], None]) -> threading.Thread:
        thread = threading.Thread(target=run, name=name, daemon=True)
        thread.start()
        return thread


class TwinPort:
    """A port with an emulated part at its far end, on a fake clock."""

    def __init__(self, clock: FakeClock, twin: SerialTwin) -> None:
        self.clock = clock
        self.twin = twin
        self.sent = b""
        self.closed = False
        self._held = b""
        self._fd = clock.watch(self)

    def ready(self) -> bool:
        self._held += self.twin.emit(self.clock.now())
        return bool(self._held)

    def due(self) -> int | None:
        return self.twin.due()

    def fileno(self) -> int:
        return self._fd

    @property
    def in_waiting(self) -> int:
        return len(self._held)

    def read(self, size: int) -> bytes:
        taken, self._held = self._held[:size], self._held[size:]
        return taken

    def write(self, data: bytes, /) -> int:
        self.sent += data
        self.twin.receive(data, self.clock.now())
        return len(data)

    def close(self) -> None:
        self.closed = True


def nothing(*_: object, **__: object) -> Any:
    """Stand for hardware that is not there."""
    raise FileNotFoundError(2, "No such file or directory")


def wiring(
    clock: Any,
    open_port: Callable[..., SerialPort] = nothing,
    open_bus: Callable[[int], Any] = nothing,
    request_lines: Callable[..., Any] = nothing,
) -> Wiring:
    """Wire a driver to fakes; what is not given is not there."""
    return Wiring(clock, open_port, open_bus, request_lines)


def twin_wiring(clock: FakeClock, twin: SerialTwin) -> Wiring:
    """Wire every port to one emulated part."""
    return wiring(clock, open_port=lambda *_: TwinPort(clock, twin))
