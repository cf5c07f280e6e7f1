"""Keeps the store small, in the store's thread, between commits: reduces what is an hour old.

Knows what is to be done and how often it is tried; knows no table. Whatever fails here never keeps
a reading from being stored.
"""

import logging

from ventwright.means.minutes import MINUTE_MS
from ventwright.storage.reducing import reduce_next
from ventwright.storage.writer import Writer

_EVERY_MS = MINUTE_MS
_HOURS_AT_ONCE = 4
"""More would keep a small board's processor from everything else for too long."""

log = logging.getLogger(__name__)


class Upkeep:
    """What the store needs besides new readings."""

    def __init__(self) -> None:
        """Be due at once."""
        self._due: int | None = None

    def step(self, writer: Writer, now: int) -> None:
        """Do a little of it if it is due; all readings before `now` (ms of the boot) are stored."""
        if self._due is not None and now < self._due:
            return
        self._due = now + _EVERY_MS
        try:
            self._reduce(writer, now)
        except Exception as error:  # noqa: BLE001 - the store's thread goes on
            log.warning("the store is not looked after now, trying again: %s", error)

    @staticmethod
    def _reduce(writer: Writer, now: int) -> None:
        for _ in range(_HOURS_AT_ONCE):
            if not writer.tend(lambda db, boot: reduce_next(db, boot, now)):
                return
