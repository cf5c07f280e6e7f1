"""Makes one message of a keeper that starts again and again, instead of one for every start.

Knows when starts were told, kept in the courier's file; must not know why the keeper ends.
"""

import sqlite3
from typing import Any

from ventwright.courier.file import CourierFile, keep_state
from ventwright.notifying.message import Message, text
from ventwright.settings.model import HOUR

MOST_SINGLE = 2
"""So many starts within an hour are told one by one."""

_KEPT_AS = "starts told"


class Restarts:
    """The starts of the last hour."""

    def __init__(self, file: CourierFile, room: str) -> None:
        """Read nothing yet."""
        self._file, self._room = file, room

    def judge(self, db: sqlite3.Connection, message: Message, label: int) -> Message | None:
        """Choose what is told of a start at `label` (Unix ms, as far as known), or nothing.

        Within the caller's transaction; raises sqlite3.Error.
        """
        saved: dict[str, Any] = self._file.state(_KEPT_AS) or {"starts": [], "told": False}
        starts = [t for t in saved["starts"] if abs(label - t) < HOUR]
        told = saved["told"] and bool(starts)
        often = len(starts) >= MOST_SINGLE
        kept = {"starts": [*starts, label][-MOST_SINGLE - 1 :], "told": told or often}
        keep_state(db, _KEPT_AS, kept)
        if told:
            return None
        return self._again_and_again() if often else message

    def _again_and_again(self) -> Message:
        title = f"{self._room}: the watch starts again and again"
        body = text(
            f"It has started {MOST_SINGLE + 1} times within an hour, and ended each time.",
            "Between the starts nothing is measured and the extractor is in its safe state.",
            "Look at the power supply, and at `journalctl -u ventwright-keeper`.",
            "Further starts are not told until it has held for an hour.",
        )
        return Message("keeper", "begin", "high", title, body)
