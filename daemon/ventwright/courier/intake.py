"""Takes new events from the store and makes messages of them, in one transaction with its mark."""

import sqlite3
from dataclasses import replace
from datetime import datetime

from ventwright.courier.file import CourierFile, count
from ventwright.courier.stock import Stock
from ventwright.courier.teller import Teller
from ventwright.courier.watch import KEEPER_FLAG, STORE_FLAG
from ventwright.notifying.ages import Ages
from ventwright.notifying.messages import Context, Message, compose
from ventwright.notifying.outbox import put
from ventwright.storage.reader import Boot, StoredEvent

_AT_ONCE = 500


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
        stock: Stock,
        teller: Teller,
        ages: Ages,
        context: Context,
        services: list[str],
        too_old: int,
    ) -> None:
        """Make messages for the named `services` of events younger than `too_old` ms."""
        self._file, self._stock, self._teller, self._ages = file, stock, teller, ages
        self._context, self._services, self._too_old = context, services, too_old

    def step(self) -> None:
        """Take all new events; raises sqlite3.Error, and takes them again then."""
        while self._take():
            pass

    def _take(self) -> bool:
        reader = self._stock.reader()
        if reader is None:
            return False
        boots = reader.boots()
        self._ages.refresh(reader, boots)
        events = reader.events(self._mark(), _AT_ONCE)
        done: list[str] = []
        if events:
            with self._file.transaction() as db:
                for event in events:
                    self._tell(db, event, boots[event.boot], done)
                query = "UPDATE progress SET event = ? WHERE store = ?"
                db.execute(query, (events[-1].id, self._stock.identity))
        for flag in done:
            self._teller.note(flag, False)
        return len(events) == _AT_ONCE

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

    def _tell(
        self, db: sqlite3.Connection, event: StoredEvent, boot: Boot, done: list[str]
    ) -> None:
        message = self._message(event, boot)
        if message is None or not self._services:
            return
        if event.kind in _FLAGS and self._is_told_already(event, message, done):
            return
        moment = (boot.name, event.t, event.t + boot.offset)
        if self._ages.age(*moment) > self._too_old:
            count(db, "passed over")
            return
        put(db, message, moment, self._services)

    def _message(self, event: StoredEvent, boot: Boot) -> Message | None:
        context = replace(self._context, time_of_day=lambda t: time_of_day(boot, t))
        return compose(event, context)

    def _is_told_already(self, event: StoredEvent, message: Message, done: list[str]) -> bool:
        """Tell whether the courier has told a beginning by itself; note that an end ends it."""
        flag = _FLAGS[event.kind]
        if message.stage == "end":
            done.append(flag)
            return False
        return bool(self._teller.flag(flag)) and flag not in done


_FLAGS = {"keeper": KEEPER_FLAG, "store": STORE_FLAG}
