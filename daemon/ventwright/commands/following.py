"""Tells what the keeper decides while `ventwright run` is in the foreground, read from the store.

Watching goes on whatever becomes of it: nothing here raises.
"""

import contextlib
import time
from collections.abc import Callable
from pathlib import Path

from ventwright.storage.reader import Reader, StoredEvent
from ventwright.storage.schema import store_path
from ventwright.words import decision

EVERY_S = 1.0


class Follower:
    """Follows the events of a store, which may not be there yet."""

    def __init__(self, folder: Path, say: Callable[[str], None]) -> None:
        """Tell by `say` what is stored from now on."""
        self._folder = folder
        self._say = say
        self._reader: Reader | None = None
        self._after = None if store_path(folder).exists() else 0
        self._due = 0.0
        self.look()

    def look(self) -> None:
        """Tell what is new, once a second at most."""
        if time.monotonic() < self._due:
            return
        self._due = time.monotonic() + EVERY_S
        try:
            self._read()
        except Exception:  # noqa: BLE001 - a store out of reach or a closed terminal ends nothing
            self.close()

    def _read(self) -> None:
        reader = self._reader = self._reader or Reader(self._folder, growing=True)
        if self._after is None:
            self._after = reader.newest_event()
        events = reader.events(self._after)
        boots = reader.boots() if events else {}
        for event in events:
            self._after = event.id
            if event.kind != "request":  # what came of it is an event of its own
                self._say(_line(event, boots[event.boot].offset))

    def close(self) -> None:
        """Close the store."""
        reader, self._reader = self._reader, None
        with contextlib.suppress(Exception):
            if reader is not None:
                reader.close()


def _line(event: StoredEvent, offset: int) -> str:
    clock = time.strftime("%H:%M:%S", time.localtime((event.t + offset) / 1000))
    return f"{clock} {decision(event)}"
