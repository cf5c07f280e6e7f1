"""Feeds systemd's watchdog while every loop of the courier goes on; not knowing what they do."""

import threading
from collections.abc import Callable, Iterable


class Pulse:
    """Feeds once all loops have beaten since the last time: one that hangs starves it."""

    def __init__(self, loops: Iterable[str], tell: Callable[[str], None]) -> None:
        """Wait for a beat of each of `loops`; `tell` carries a message to systemd."""
        self._loops = frozenset(loops)
        self._awaited = set(self._loops)
        self._tell = tell
        self._lock = threading.Lock()

    def beat(self, loop: str) -> None:
        """Tell that a loop went round, or rests as it should; from any thread."""
        with self._lock:
            self._awaited.discard(loop)
            if not self._awaited:
                self._awaited = set(self._loops)
                self._tell("WATCHDOG=1")
