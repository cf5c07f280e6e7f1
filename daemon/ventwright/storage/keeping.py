"""The thread that stores: events at once, readings in groups, and patience with a full disk.

Knows the writer and time; knows no rule. The core only drops items into the inbox.
"""

import logging
import sqlite3
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, NamedTuple

from ventwright.events import Readings, Record, StoreReport
from ventwright.storage.damage import is_damage
from ventwright.storage.upkeep import Upkeep
from ventwright.storage.writer import Writer
from ventwright_drivers.clock import Clock

RETRY_MS = 5000
HANGS_MS = 60_000
"""A commit that takes longer hangs: a disk that dies may answer nothing, not even an error."""

MOST_WAITING = 60_000
"""Samples that wait for such a commit, as many as the writer holds; the oldest go first."""

MOST_UNSTORED = 200


class State(NamedTuple):
    """To be stored with the record that follows: a piece of state that survives a restart."""

    key: str
    body: object


class Damaged(NamedTuple):
    """The store was found to be damaged, as `why` says."""

    why: str


log = logging.getLogger(__name__)


class Labels:
    """The wall clock as a label: how it relates to this boot's time, and whether it is right.

    A clock that cannot be read costs labels only: the last offset stands for it, as a guess.
    """

    def __init__(self, offset: Callable[[], int], right: Callable[[], bool]) -> None:
        """`offset()` gives Unix ms minus the clock's ms; `right()` whether to believe it."""
        self._offset, self._right = offset, right
        self._last = 0
        self._read = False

    def offset(self) -> int:
        """Give Unix ms minus the clock's ms; never raises."""
        try:
            self._last, self._read = self._offset(), True
        except (OSError, ValueError, OverflowError) as error:
            self._read = False
            log.warning("the wall clock cannot be read now: %s", error)
        return self._last

    def right(self) -> bool:
        """Tell whether the clock is to be believed; never raises."""
        try:
            return self._right()
        except (OSError, ValueError, OverflowError) as error:
            log.warning("whether the wall clock is right cannot be told now: %s", error)
            return False

    def label(self) -> tuple[int, bool]:
        """Give the offset, and whether it was read just now from a clock that is right."""
        right = self.right()  # first: a clock that is set in between is right only afterwards
        return self.offset(), right and self._read


class Keeping:
    """The store's thread."""

    def __init__(
        self,
        writer: Writer,
        clock: Clock,
        labels: Labels,
        commit_every: int,
        report: Callable[[StoreReport], None],
        upkeep: Upkeep | None = None,
    ) -> None:
        """Group readings for `commit_every` ms; failures go to `report`, once each way.

        `upkeep`, if given, is done in between.
        """
        self._writer, self._upkeep = writer, upkeep
        self._clock = clock
        self._labels = labels
        self._every = commit_every
        self._report = report
        self._inbox = clock.inbox()
        self._readings: deque[Readings] = deque()
        self._due: int | None = None
        self._settled = self._replaced = False
        self._failing = ""
        self.last_commit: int | None = None
        """When something was last stored, ms."""

    def put(self, item: Readings | Record | State | Damaged) -> None:
        """Have an item stored; never waits. Readings wake the thread only to set its deadline."""
        if isinstance(item, Readings):
            self._readings.append(item)
            if len(self._readings) > MOST_WAITING:
                self._readings.popleft()
                self._writer.dropped += 1
            if len(self._readings) > 1:
                return
        self._inbox.put(item)

    @property
    def failing(self) -> str:
        """Why nothing is stored now, or nothing; from whatever thread."""
        try:
            waits = self._clock.now() - self._readings[0].t - self._every
        except IndexError:  # nothing waits
            waits = 0
        hangs = f"the disk has not answered for {waits // 1000} s" if waits > HANGS_MS else ""
        return self._failing or hangs

    @property
    def unstored(self) -> list[dict[str, Any]]:
        """The newest records that a failing store has not taken: nobody can read them there."""
        return self._writer.unstored(MOST_UNSTORED) if self.failing else []

    def run(self) -> None:
        """Store until the clock is stopped; `finish` must follow."""
        while not self._clock.stopped:
            item = self._inbox.get(self._due)
            if item is not None:
                self._take(item)
            if self._due is not None and self._clock.now() >= self._due:
                self._commit()
                self._tend()

    def _tend(self) -> None:
        if self._upkeep and self.last_commit is not None and not self._failing:
            self._upkeep.step(self._writer, self.last_commit)
            if self._upkeep.take_news():
                now, most = self._clock.now(), self._upkeep.most
                self._report(StoreReport(now, "", self._writer.dropped, most=most))

    def finish(self) -> None:
        """Store all that is left, from whatever thread, after `run` has ended."""
        while (item := self._inbox.get(0)) is not None:
            self._take(item)
        self._commit()
        self._writer.close()

    def _take(self, item: object) -> None:
        now = self._clock.now()
        if isinstance(item, Damaged):
            self._damaged(item.why)
            return
        if isinstance(item, State):
            self._writer.keep(item.key, item.body)
            return
        if isinstance(item, Record):
            self._writer.add(item)
        if self._failing:
            return
        wait = self._every if isinstance(item, Readings) else 0
        self._due = now + wait if self._due is None else min(self._due, now + wait)

    def _damaged(self, why: str) -> None:
        try:
            if not self._replaced:
                self.replace(why)
        except OSError as error:
            log.warning("the damaged store could not be set aside: %s", error)

    def _commit(self) -> None:
        while self._readings:
            self._writer.add(self._readings.popleft())
        try:
            self._label()
            self._store()
        except Exception as error:  # noqa: BLE001 - whatever fails, this thread goes on
            self._failed(str(error))
        else:
            self._done()

    def _store(self) -> None:
        """Commit; a store that turns out to be damaged is set aside for a new one."""
        try:
            self._writer.commit()
        except sqlite3.DatabaseError as error:
            if not is_damage(error) or self._replaced:
                raise
            self.replace(str(error))
            self._writer.commit()

    def replace(self, why: str) -> None:
        """Set the damaged store aside, once in the life of the process; raises OSError.

        For the store's thread, or before it runs.
        """
        self._replaced = True
        self._writer.close()
        now = self._clock.now()
        day = datetime.fromtimestamp((now + self._labels.offset()) / 1000, UTC).date().isoformat()
        file = self._writer.set_aside(day)
        self._report(StoreReport(now, why, 0, str(file)))

    def _label(self) -> None:
        if self._settled:
            return
        offset, right = self._labels.label()
        if right:
            self._settled = True
            self._writer.settle(offset)
        else:
            self._writer.guess(offset)

    def _failed(self, why: str) -> None:
        now = self._clock.now()
        self._due = now + RETRY_MS
        if not self._failing:
            self._report(StoreReport(now, why, self._writer.dropped))
        self._failing = why

    def _done(self) -> None:
        self._due, self.last_commit = None, self._clock.now()
        if self._failing:
            self._report(StoreReport(self.last_commit, "", self._writer.dropped))
        self._failing = ""
