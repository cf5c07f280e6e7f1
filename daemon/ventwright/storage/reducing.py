"""Reduces readings to minutes and hours, one recorded hour after another, in the store itself.

Knows the tables; knows neither a clock nor how long anything is kept. An hour is reduced once,
when its labels are final, so that it begins with a whole hour of Unix time.
"""

import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from contextlib import suppress
from typing import NamedTuple

from ventwright.storage.blocks import Block, unpack
from ventwright.storage.condensing import (
    HOUR_MS,
    LONGEST_REACH_MS,
    condense,
    of_hour,
    pack_figures,
)
from ventwright.storage.schema import quantities_in

_NEAR = 100
"""More blocks than one commit has, one a part: among these alone times may go back."""

_UNSETTLED_FOR_MS = 24 * HOUR_MS
"""How long labels are waited for: a board that never learns the time is reduced all the same."""


class Hour(NamedTuple):
    """An hour of a boot that is to be reduced."""

    boot: int
    start: int
    label: int
    """Which hour since 1970."""
    after: int
    """Blocks before and with this number end before the hour."""


class _Done(NamedTuple):
    number: int
    boot: int
    start: int
    label: int
    block: int


def reduce_next(db: sqlite3.Connection, boot: int, now: int) -> bool:
    """Reduce the oldest hour that is over; False if there is none. Raises sqlite3.Error.

    `now`: up to when (ms of the running `boot`) all readings are stored.
    """
    done = _last(db)
    hour = _next(db, done)
    if hour is None or not _is_over(db, hour, boot, now):
        return False
    same = done is not None and done.label == hour.label
    number = 1 if done is None else done.number + (not same)
    _reduce(db, hour, number)
    return True


def _last(db: sqlite3.Connection) -> _Done | None:
    row = db.execute(
        "SELECT number, boot, start, (start + offset) / ?, block FROM hours"
        " JOIN boots ON boots.id = boot ORDER BY hours.id DESC LIMIT 1",
        (HOUR_MS,),
    ).fetchone()
    return _Done(*row) if row else None


def _next(db: sqlite3.Connection, done: _Done | None) -> Hour | None:
    after = done.block if done else 0
    row = db.execute(
        "SELECT boot, first, last, offset FROM blocks JOIN boots ON boots.id = boot"
        " WHERE blocks.id > ? ORDER BY blocks.id LIMIT 1",
        (after,),
    ).fetchone()
    if row is None:
        return None
    boot, first, last, offset = row
    start = _whole(first, offset)
    if done and done.boot == boot:
        start = max(start, done.start + HOUR_MS)
    start = min(start, _whole(last, offset))
    return Hour(boot, start, (start + offset) // HOUR_MS, after)


def _whole(t: int, offset: int) -> int:
    """Give the begin of the hour of Unix time that `t` is in, in the boot's ms."""
    return (t + offset) // HOUR_MS * HOUR_MS - offset


def _is_over(db: sqlite3.Connection, hour: Hour, boot: int, now: int) -> bool:
    if hour.boot != boot:
        return True
    (settled,) = db.execute("SELECT settled FROM boots WHERE id = ?", (boot,)).fetchone()
    wait = LONGEST_REACH_MS if settled else _UNSETTLED_FOR_MS
    return now >= hour.start + HOUR_MS + wait


def _reduce(db: sqlite3.Connection, hour: Hour, number: int) -> None:
    blocks, last = _blocks(db, hour)
    for part, held in blocks.items():
        quantities = _width(db, part)
        columns = condense(held, quantities, hour.start)
        hourly = pack_figures([[of_hour(minutes)] for minutes in columns])
        found = db.execute(
            "INSERT INTO hours (number, boot, start, part, block, body) VALUES (?, ?, ?, ?, ?, ?)",
            (number, hour.boot, hour.start, part, last, hourly),
        )
        db.execute(
            "INSERT INTO minutes VALUES (?, ?, ?)", (found.lastrowid, number, pack_figures(columns))
        )


def _width(db: sqlite3.Connection, part: int) -> int:
    row = db.execute("SELECT quantities FROM parts WHERE id = ?", (part,)).fetchone()
    return len(quantities_in(row[0])) if row else 0


def _blocks(db: sqlite3.Connection, hour: Hour) -> tuple[dict[int, list[Block]], int]:
    """Open the blocks by part that have something of the hour; and the last that ends in it.

    A damaged block costs itself only.
    """
    found: dict[int, list[Block]] = defaultdict(list)
    end, last, straddles = hour.start + HOUR_MS, hour.after, False
    for number, part, first, till, count in _rows(db, hour):
        straddles |= till >= end
        last = last if straddles else number
        if first < end + LONGEST_REACH_MS:
            held = found[part]
            with suppress(ValueError):
                held.append(unpack(_body(db, number), first, count, _width(db, part)))
    return found, last


def _rows(db: sqlite3.Connection, hour: Hour) -> Iterator[tuple[int, int, int, int, int]]:
    """Give the blocks from the hour's first one on, up to a commit's worth behind its end."""
    beyond, end = 0, hour.start + HOUR_MS + LONGEST_REACH_MS
    query = "SELECT id, boot, part, first, last, count FROM blocks WHERE id > ? ORDER BY id LIMIT ?"
    after = hour.after
    while rows := db.execute(query, (after, _NEAR)).fetchall():
        for number, boot, *rest in rows:
            beyond += rest[1] >= end
            if boot != hour.boot or beyond > _NEAR:
                return
            yield number, *rest
        after = rows[-1][0]


def _body(db: sqlite3.Connection, number: int) -> bytes:
    body: bytes = db.execute("SELECT body FROM blocks WHERE id = ?", (number,)).fetchone()[0]
    return body
