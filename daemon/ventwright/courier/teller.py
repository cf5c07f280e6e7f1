"""Tells what the courier itself finds out, once: a flag says what was told, over restarts too."""

import logging
import sqlite3
from typing import Any

from ventwright.courier.file import CourierFile, keep_state
from ventwright.notifying.ages import Ages
from ventwright.notifying.messages import Message
from ventwright.notifying.post import Post

log = logging.getLogger(__name__)


class Teller:
    """Puts messages into the outbox; into the one in memory while the disk refuses."""

    def __init__(self, file: CourierFile, spill: CourierFile, post: Post, ages: Ages) -> None:
        """Tell by `file`, or else by `spill`, whom `post` chooses."""
        self._file, self._spill, self._post, self._ages = file, spill, post, ages
        self._flags: dict[str, Any] = {}

    def flag(self, name: str) -> Any:
        """Return what was noted under a name, or None."""
        if name not in self._flags:
            try:
                self._flags[name] = self._file.state(name)
            except (sqlite3.Error, OSError):
                return None
        return self._flags[name]

    def note(self, name: str, value: Any, message: Message | None = None) -> None:
        """Note a value, and tell a message with it."""
        moment = (self._ages.boot, self._ages.clock.now(), None)
        told = message if self._post.services else None
        self._flags[name] = value
        try:
            with self._file.transaction() as db:
                keep_state(db, name, value)
                if told:
                    self._post.put(db, told, moment)
        except (sqlite3.Error, OSError) as error:
            log.warning("a message is kept in memory only: %s", error)
            if told:
                self._post.add(self._spill, told, moment)
