"""An emulated part at the far end of a socket, as QEMU's serial adapters have one."""

import contextlib
import select
import socket
import threading
import time
from pathlib import Path

from ventwright_drivers.clock import SystemClock
from ventwright_drivers.emulated.twin import SerialTwin

_GLANCE_S = 0.02


class Wire:
    """Serves one twin in a thread; the part keeps its power while boards come and go."""

    def __init__(self, twin: SerialTwin, path: Path) -> None:
        """Begin to serve; connects as soon as there is something at `path`."""
        self.twin = twin
        self.clock = SystemClock()
        self._path = path
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop serving."""
        self._done.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._done.is_set():
            with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as sock:
                sock.connect(str(self._path))
                self._serve(sock)
            time.sleep(_GLANCE_S)

    def _serve(self, sock: socket.socket) -> None:
        while not self._done.is_set():
            ready, _, _ = select.select([sock], [], [], _GLANCE_S)
            if ready:
                data = sock.recv(65_536)
                if not data:
                    return
                self.twin.receive(data, self.clock.now())
            if said := self.twin.emit(self.clock.now()):
                sock.sendall(said)
