"""Time as a thing that is passed in: whole milliseconds on the monotonic clock, and ways to wait.

Nothing in a driver or in the daemon's control path reads a clock or sleeps by any other way, so
a test or a rehearsal can hand over a clock of its own.
"""

import os
import queue
import select
import threading
import time
import weakref
from collections.abc import Callable
from typing import Generic, Protocol, TypeVar

T = TypeVar("T")


class Inbox(Protocol[T]):
    """A queue with one reader, on the clock that made it."""

    def put(self, item: T) -> None:
        """Add an item; never blocks."""

    def get(self, until: int | None) -> T | None:
        """Take the oldest item; None once the clock has reached `until` (ms) or was stopped."""


class Clock(Protocol):
    """What a driver or the keeper may know of time, in ms since an arbitrary start."""

    def now(self) -> int:
        """Read the monotonic time, ms."""

    def sleep_until(self, until: int) -> None:
        """Return when the time `until` (ms) has come, or when the clock was stopped."""

    def wait_readable(self, fd: int, until: int) -> bool:
        """Wait for bytes on a descriptor; False if `until` (ms) came or the clock was stopped."""

    def inbox(self) -> Inbox[object]:
        """Make a queue whose waiting is done on this clock."""

    def spawn(self, name: str, run: Callable[[], None]) -> threading.Thread:
        """Start a daemon thread that waits only on this clock."""

    @property
    def stopped(self) -> bool:
        """True once everything that waits should return and end."""


class _SystemInbox(Generic[T]):
    """A queue of the standard library, woken by an item of its own when the clock is stopped."""

    _WAKE = object()

    def __init__(self, clock: "SystemClock") -> None:
        self._clock = clock
        self._items: queue.SimpleQueue[object] = queue.SimpleQueue()

    def put(self, item: T) -> None:
        self._items.put(item)

    def get(self, until: int | None) -> T | None:
        try:
            item = self._items.get_nowait() if self._clock.stopped else self._wait(until)
            while item is self._WAKE:  # what is behind it was put after the stop, not in vain
                item = self._items.get_nowait()
        except queue.Empty:
            return None
        return item  # type: ignore[return-value]

    def _wait(self, until: int | None) -> object:
        if until is None:
            return self._items.get()
        left = (until - self._clock.now()) / 1000
        return self._items.get(timeout=left) if left > 0 else self._items.get_nowait()

    def wake(self) -> None:
        self._items.put(self._WAKE)


class SystemClock:
    """The machine's monotonic clock."""

    def __init__(self) -> None:
        self._stop = threading.Event()
        self._stop_fd = os.eventfd(0)
        weakref.finalize(self, os.close, self._stop_fd)
        self._inboxes: list[_SystemInbox[object]] = []

    def now(self) -> int:
        """Read CLOCK_MONOTONIC, whole ms."""
        return time.monotonic_ns() // 1_000_000

    def sleep_until(self, until: int) -> None:
        """Sleep to `until` (ms), or until stop() is called."""
        left = until - self.now()
        if left > 0:
            self._stop.wait(left / 1000)

    def wait_readable(self, fd: int, until: int) -> bool:
        """Wait for `fd` to be readable, or for a stop."""
        left = max(0.0, (until - self.now()) / 1000)
        ready = select.select([fd, self._stop_fd], [], [], left)[0]
        return fd in ready and not self.stopped

    def inbox(self) -> Inbox[object]:
        """Make a thread-safe queue."""
        inbox = _SystemInbox[object](self)
        self._inboxes.append(inbox)
        return inbox

    def spawn(self, name: str, run: Callable[[], None]) -> threading.Thread:
        """Start a daemon thread."""
        thread = threading.Thread(target=run, name=name, daemon=True)
        thread.start()
        return thread

    def stop(self) -> None:
        """Wake all that sleep on this clock and let them end."""
        self._stop.set()
        os.eventfd_write(self._stop_fd, 1)
        for inbox in self._inboxes:
            inbox.wake()

    @property
    def stopped(self) -> bool:
        """True after stop()."""
        return self._stop.is_set()


def boot_id() -> str:
    """Name this boot of the machine: the kernel's random id, the same until the next boot."""
    with open("/proc/sys/kernel/random/boot_id", encoding="ascii") as file:
        return file.read().strip()
