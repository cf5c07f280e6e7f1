"""Sends the keeper word of how far its events were told and pushed: old ones may be pruned."""

import logging
import sqlite3
from pathlib import Path

from ventwright.control.client import NotRunningError, ask
from ventwright.courier.file import CourierFile

log = logging.getLogger(__name__)


def send_word(socket: Path, file: CourierFile, store: str) -> bool:
    """Tell the keeper up to which events of a store all became messages, and were pushed.

    False if it did not hear. What became a message is in the courier's file until it is delivered
    or given up; refused events count as pushed.
    """
    try:
        query = (
            "SELECT event, coalesce(mark, 0) FROM progress LEFT JOIN pushed_events USING (store)"
            " WHERE store = ?"
        )
        row = file.db.execute(query, (store,)).fetchone()
        if row is None:
            return False
        return bool(ask(socket, "told", store=store, event=row[0], pushed=row[1])["done"])
    except (sqlite3.Error, OSError, NotRunningError, KeyError) as error:
        log.warning("the keeper was not told what it may prune: %s", error)
        return False
