"""What was told before the store had it, so that it is not told again when it comes from there.

In the courier's file, or in memory while that is on a full disk too.
"""

import sqlite3

from ventwright.courier.file import CourierFile, keep_state
from ventwright.storage.reader import Boot, StoredEvent

MOST_KEPT = 500
"""More than the keeper tells of at once; the oldest are forgotten."""

_KEPT_AS = "told before stored"

Key = tuple[str, int, str, str, str]


def key_of(event: StoredEvent, boot: Boot) -> Key:
    """Name an event in a way that is the same before and after it is stored."""
    change = str(event.body.get("change", ""))
    return (boot.name, event.t, event.kind, event.subject, change)


class Told:
    """The names of the events that were told early.

    Those whose messages are in memory only are not saved: a courier that dies tells them again.
    """

    def __init__(self, file: CourierFile) -> None:
        """Start with what the file holds, once it can be read."""
        self._file = file
        self._keys: dict[Key, bool] = {}
        self._read = False

    def __contains__(self, key: Key) -> bool:
        """Tell whether an event was told early."""
        if not self._read:
            self._load()
        return key in self._keys

    def _load(self) -> None:
        try:
            saved = self._file.state(_KEPT_AS) or []
        except (sqlite3.Error, OSError):
            return
        self._keys = {tuple(key): True for key in saved} | self._keys
        self._read = True

    def add(self, keys: list[Key], safe: bool) -> None:
        """Note what was told; `safe` if its messages are in the file, by `save` too."""
        self._keys |= dict.fromkeys(keys, safe)
        self._keys = dict(list(self._keys.items())[-MOST_KEPT:])

    def save(self, db: sqlite3.Connection, keys: list[Key]) -> None:
        """Write what is told inside the caller's transaction; raises sqlite3.Error."""
        saved = [key for key, safe in self._keys.items() if safe]
        keep_state(db, _KEPT_AS, [*saved, *keys][-MOST_KEPT:])
