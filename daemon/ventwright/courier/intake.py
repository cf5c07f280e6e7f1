"""Takes new events from the store and makes messages of them, in one transaction with its mark.

While the disk refuses, events are taken from the keeper's status instead, and told at once.
"""

import logging
import sqlite3
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from ventwright.courier.file import CourierFile, count
from ventwright.courier.stock import Stock
from ventwright.courier.teller import Teller
from ventwright.courier.told import Told, key_of
from ventwright.courier.watch import KEEPER_FLAG, STORE_FLAG
from ventwright.notifying.ages import Ages
from ventwright.notifying.messages import Context, Message, compose
from ventwright.notifying.post import Post
from ventwright.notifying.repeating import Repeater
from ventwright.notifying.restarts import Restarts
from ventwright.storage.reader import Boot, Page, StoredEvent

_AT_ONCE = 500

log = logging.getLogger(__name__)


def time_of_day(boot: Boot, t: int) -> str | None:
    """Name a time (ms of a boot) as local time `14:05`; None if the clock was not right."""
    if not boot.settled:
        return None
    return datetime.fromtimestamp((t + boot.offset) / 1000).strftime("%H:%M")


class Intake:
    """The way from the store's events to the outbox."""

    def __init__(
        self,
        file: CourierFile,
        spill: CourierFile,
        stock: Stock,
        teller: Teller,
        ages: Ages,
        context: Context,
        post: Post,
        too_old: int,
    ) -> None:
        """Make messages for whom `post` chooses of events younger than `too_old` ms.

        They go into `file`, or into `spill` while the disk refuses.
        """
        self._file, self._spill, self._stock = file, spill, stock
        self._teller, self._ages = teller, ages
        self._context, self._post, self._too_old = context, post, too_old
        self._repeater = Repeater(file, post, ages)
        self._told = Told(file)
        self._restarts = Restarts(file, context.room)
        self._full = False

    def step(self) -> None:
        """Take all new events; raises sqlite3.Error, and takes them again then."""
        while self._take():
            pass
        self._repeater.step()

    def take_unstored(self, status: Mapping[str, Any]) -> None:
        """Tell what the keeper could not store, by its status; raises sqlite3.Error."""
        store = status.get("store") or {}
        self._full = bool(store.get("failing"))
        records = store.get("unstored") or []
        if not records:
            return
        offset, right = int(status["offset"]), bool(status["clock is right"])
        boot = Boot(0, records[0]["boot"], offset, right)
        self._tell_early([_unstored(record) for record in records], {0: boot})

    def _tell_early(self, events: list[StoredEvent], boots: dict[int, Boot]) -> None:
        """Tell events that the marks in the files know nothing of yet."""
        new = [event for event in events if self._is_new(event, boots[event.boot])]
        if not new:
            return
        keys = [key_of(event, boots[event.boot]) for event in new]
        done: list[str] = []
        safe = True
        try:
            with self._file.transaction() as db:
                self._put_early(db, new, boots, done)
                self._told.save(db, keys)
        except (sqlite3.Error, OSError) as error:
            log.warning("messages are kept in memory only: %s", error)
            done.clear()
            safe = False
            with self._spill.transaction() as db:
                self._put_early(db, new, boots, done)
        self._told.add(keys, safe)
        for flag in done:
            self._teller.note(flag, False)

    def _is_new(self, event: StoredEvent, boot: Boot) -> bool:
        """Tell whether to tell an event early; of the store itself the watch tells."""
        if event.kind == "store" or key_of(event, boot) in self._told:
            return False
        try:
            return self._message(event, boot) is not None
        except Exception:  # noqa: BLE001 - passed over, and counted, once the files can be written
            return False

    def _put_early(
        self,
        db: sqlite3.Connection,
        events: list[StoredEvent],
        boots: dict[int, Boot],
        done: list[str],
    ) -> None:
        for event in events:
            boot = boots[event.boot]
            self._put(db, event, boot, self._message(event, boot), done)

    def _take(self) -> bool:
        reader = self._stock.reader()
        if reader is None:
            return False
        boots = reader.boots()
        self._ages.refresh(reader, boots)
        mark = self._mark()
        if mark > reader.newest_event():
            mark = self._begin_anew()
        page = reader.page(mark, _AT_ONCE)
        done: list[str] = []
        if page.last > mark:
            self._take_in(page, boots, done)
        for flag in done:
            self._teller.note(flag, False)
        return page.last > mark

    def _take_in(self, page: Page, boots: dict[int, Boot], done: list[str]) -> None:
        try:
            with self._file.transaction() as db:
                for spoilt in page.spoilt:
                    _pass_over(db, *spoilt)
                for event in page.events:
                    self._tell_or_pass(db, event, boots[event.boot], done)
                query = "UPDATE progress SET event = ? WHERE store = ?"
                db.execute(query, (page.last, self._stock.identity))
        except BaseException as error:
            self._repeater.forget()
            if self._full and isinstance(error, sqlite3.Error | OSError):
                self._tell_early(page.events, boots)
            raise

    def _tell_or_pass(
        self, db: sqlite3.Connection, event: StoredEvent, boot: Boot, done: list[str]
    ) -> None:
        """Tell an event; one that makes no sense costs itself only, not all that come after it."""
        try:
            self._tell(db, event, boot, done)
        except (sqlite3.Error, OSError):
            raise
        except Exception as error:  # noqa: BLE001 - whatever is wrong in it
            _pass_over(db, event.id, repr(error))

    def _mark(self) -> int:
        store = (self._stock.identity,)
        query = "SELECT event FROM progress WHERE store = ?"
        row = self._file.db.execute(query, store).fetchone()
        if row is None:
            with self._file.transaction() as db:
                db.execute("INSERT OR IGNORE INTO progress (store) VALUES (?)", store)
            return 0
        mark: int = row[0]
        return mark

    def _begin_anew(self) -> int:
        """Take all events again: an older copy of this store is in its place, or it lost some.

        What is new in it would have numbers that were taken already, and never be told.
        """
        log.warning("the store has fewer events than were taken from it: all are taken again")
        with self._file.transaction() as db:
            db.execute("UPDATE progress SET event = 0 WHERE store = ?", (self._stock.identity,))
        return 0

    def _tell(
        self, db: sqlite3.Connection, event: StoredEvent, boot: Boot, done: list[str]
    ) -> None:
        message = self._message(event, boot)
        if event.kind == "alarm" and self._post.services:
            self._repeater.note(db, event, message)
        if key_of(event, boot) not in self._told:
            self._put(db, event, boot, message, done)

    def _put(
        self,
        db: sqlite3.Connection,
        event: StoredEvent,
        boot: Boot,
        message: Message | None,
        done: list[str],
    ) -> None:
        if message is None or not self._post.services:
            return
        if message.key in _FLAGS and self._is_told_already(message, done):
            return
        moment = (boot.name, event.t, event.t + boot.offset)
        if self._ages.age(*moment) > self._too_old:
            count(db, "passed over")
            return
        if event.kind == "keeper":
            message = self._restarts.judge(db, message, event.t + boot.offset)
        if message:
            self._post.put(db, message, moment)

    def _message(self, event: StoredEvent, boot: Boot) -> Message | None:
        context = replace(self._context, time_of_day=lambda t: time_of_day(boot, t))
        return compose(event, context)

    def _is_told_already(self, message: Message, done: list[str]) -> bool:
        """Tell whether the courier has told a beginning by itself; note that an end ends it."""
        flag = _FLAGS[message.key]
        if message.stage == "end":
            done.append(flag)
            return False
        return bool(self._teller.flag(flag)) and flag not in done


def _pass_over(db: sqlite3.Connection, number: int, why: str) -> None:
    count(db, "spoilt")
    log.warning("event %d of the store is spoilt, nobody is told of it: %s", number, why)


def _unstored(record: Mapping[str, Any]) -> StoredEvent:
    return StoredEvent(0, 0, record["t"], record["kind"], record["subject"], record["body"])


_FLAGS = {"keeper": KEEPER_FLAG, "store": STORE_FLAG}
