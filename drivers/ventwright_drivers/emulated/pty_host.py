"""Puts an emulated part behind a real pseudo-terminal, to be opened like any serial port."""

import contextlib
import os
import select
import threading
import tty
from collections.abc import Callable
from pathlib import Path

from ventwright_drivers.clock import Clock
from ventwright_drivers.emulated.twin import SerialTwin

_GLANCE_MS = 20  # the longest wait of the servicing thread, so that it notices changes
_GULP = 65_536


def _as_sent(data: bytes) -> bytes:
    return data


class PtyHost:
    """A pseudo-terminal with a part at its far end; plugged in from the start.

    Drive it by `service`, or let `start` do so in a thread. Every method may be called from
    any thread.
    """

    def __init__(
        self,
        twin: SerialTwin,
        link: str | Path | None = None,
        *,
        hold_slave: bool = True,
        meddle: Callable[[bytes], bytes] = _as_sent,
    ) -> None:
        """Plug `twin` in, under the stable path `link` if one is given.

        With `hold_slave` the host keeps the reader's side open too, so that bytes sent while
        nobody reads are kept, as an adapter would. `meddle` may garble what goes to the reader.
        """
        self.twin = twin
        self.mute = False
        """True swallows everything that the part sends."""
        self.meddle = meddle
        self._path: Path | None = None if link is None else Path(link)
        self._slave_path = ""
        self._hold = hold_slave
        self._master = self._slave = -1
        self._lock = threading.RLock()
        self._done = threading.Event()
        self._thread: threading.Thread | None = None
        self.plug_in()

    @property
    def path(self) -> str:
        """Give the path to open: the stable one, or that of the present terminal."""
        return self._slave_path if self._path is None else str(self._path)

    @property
    def plugged_in(self) -> bool:
        """True between `plug_in` and `hang_up`."""
        return self._master >= 0

    def plug_in(self) -> None:
        """Bring a new terminal up under the same stable path; raises OSError."""
        with self._lock:
            self.hang_up()
            self._master, self._slave = os.openpty()
            tty.setraw(self._slave)
            os.set_blocking(self._master, False)
            self._slave_path = os.ttyname(self._slave)
            if self._path is not None:
                self._path.symlink_to(self._slave_path)
            if not self._hold:
                self._close_slave()

    def hang_up(self) -> None:
        """Pull the plug: whoever has the terminal open gets a hang-up, and the path is gone."""
        with self._lock:
            if self._path is not None and self._path.is_symlink():
                self._path.unlink()
            self._close_slave()
            if self._master >= 0:
                os.close(self._master)
                self._master = -1

    def inject(self, data: bytes) -> None:
        """Send bytes to the reader at once, as they are."""
        with self._lock:
            self._send(data)

    def due(self) -> int | None:
        """Tell when the part next wants `service` (ms); it wants it for every request too."""
        return self.twin.due()

    def service(self, now: int) -> None:
        """Carry bytes both ways, at `now` (ms); harmless while unplugged."""
        with self._lock:
            if heard := self._receive():
                self.twin.receive(heard, now)
            said = self.twin.emit(now)
            if said and not self.mute:
                self._send(self.meddle(said))

    def start(self, clock: Clock) -> None:
        """Serve in a thread, by a clock that runs by itself, until `stop`."""
        self.stop()
        self._done.clear()
        self._thread = threading.Thread(
            target=self._run, args=(clock,), name=f"host of {self.path}", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """End the thread, if there is one; the terminal stays."""
        self._done.set()
        thread, self._thread = self._thread, None
        if thread is not None:
            thread.join()

    def close(self) -> None:
        """Stop serving and hang up."""
        self.stop()
        self.hang_up()

    def __enter__(self) -> "PtyHost":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _close_slave(self) -> None:
        if self._slave >= 0:
            os.close(self._slave)
            self._slave = -1

    def _receive(self) -> bytes:
        with contextlib.suppress(OSError):  # nothing there, or nobody
            return os.read(self._master, _GULP) if self._master >= 0 else b""
        return b""

    def _send(self, data: bytes) -> None:
        with contextlib.suppress(OSError):  # the reader is long gone and its buffer full
            if self._master >= 0:
                os.write(self._master, data)

    def _run(self, clock: Clock) -> None:
        while not self._done.is_set() and not clock.stopped:
            self.service(clock.now())
            self._wait(clock)

    def _wait(self, clock: Clock) -> None:
        due = self.due()
        left = _GLANCE_MS if due is None else min(_GLANCE_MS, max(0, due - clock.now()))
        if self._slave < 0:  # unplugged, or a terminal that may be ready only for a hang-up
            self._done.wait(left / 1000 or 0.001)
            return
        with contextlib.suppress(OSError, ValueError):  # unplugged meanwhile
            select.select([self._master], [], [], left / 1000)
