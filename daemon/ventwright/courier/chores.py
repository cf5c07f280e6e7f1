"""Chores by the wall clock: digests, and word to the keeper of what may be pruned.

They begin only once the clock is known to be right, and begin anew when it is set by more than a
minute, for the library that keeps the timetable waits by it. Never anything that must be punctual.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any, NamedTuple

from ventwright.courier.mending import MustEndError
from ventwright.notifying.ages import Ages
from ventwright.settings.model import HOUR, MINUTE

_JUMP_MS = MINUTE
_LONGEST_MS = 10 * MINUTE
_ENDLESS_MS = HOUR
_HANGS = "it was begun and has not ended"

log = logging.getLogger(__name__)


class _HangsError(Exception):
    """A chore is due while it is still at it."""


class _Local(tzinfo):
    """Local time as the system has it, as in all that is told: `TZ` need not name a zone."""

    def utcoffset(self, dt: datetime | None) -> timedelta | None:
        return dt.replace(tzinfo=None).astimezone().utcoffset() if dt else None

    def dst(self, _dt: datetime | None) -> None:
        return None

    def tzname(self, _dt: datetime | None) -> str:
        return "local time"

    def fromutc(self, dt: datetime) -> datetime:
        return datetime.fromtimestamp(dt.replace(tzinfo=UTC).timestamp()).replace(tzinfo=self)


class Chore(NamedTuple):
    """What is to be done, and when, as a cron trigger takes it (local time)."""

    name: str
    do: Callable[[], Any]
    times: Mapping[str, Any]


class Chores:
    """The timetable; each chore in a thread of its own, so that one that hangs stops no other."""

    def __init__(self, chores: list[Chore], ages: Ages) -> None:
        """Begin nothing yet, and load no library. What was slept through is made up for, once."""
        self._chores, self._ages = chores, ages
        self._table: Any = None
        self._offset = 0
        self._lock = threading.Lock()
        self._begun: dict[str, int] = {}
        self.outcomes: dict[str, str] = {}
        """Of each chore that was due: why it was not done the last time, or nothing."""

    @property
    def names(self) -> list[str]:
        """What there is to do."""
        return [chore.name for chore in self._chores]

    def step(self) -> None:
        """Begin once the clock is right, and again where it was set; to be called often.

        Raises MustEndError if a chore hangs for good, for nothing but the process can be ended.
        """
        self._notice_hanging()
        wall = self._ages.wall()
        if wall is None or not self._chores:
            return
        offset = wall - self._ages.clock.now()
        if self._table is not None and abs(offset - self._offset) > _JUMP_MS:
            self.close()
        if self._table is None:
            self._begin()
        self._offset = offset

    def _begin(self) -> None:
        from apscheduler import events
        from apscheduler.executors.pool import ThreadPoolExecutor
        from apscheduler.schedulers.background import BackgroundScheduler

        logging.getLogger("apscheduler").setLevel(logging.ERROR)
        defaults = {"misfire_grace_time": None, "coalesce": True, "max_instances": 1}
        threads = {name: ThreadPoolExecutor(1) for name in self.names}
        table = BackgroundScheduler(timezone=_Local(), executors=threads, job_defaults=defaults)
        for chore in self._chores:
            words = {"args": [chore], "id": chore.name, "executor": chore.name, **chore.times}
            table.add_job(self._do, "cron", **words)
        wrong = events.EVENT_JOB_ERROR | events.EVENT_JOB_MISSED | events.EVENT_JOB_MAX_INSTANCES
        table.add_listener(self._went_wrong, wrong)
        table.add_listener(self._went_well, events.EVENT_JOB_EXECUTED)
        table.start()
        self._table = table

    def _do(self, chore: Chore) -> None:
        """Do a chore, unless it is still at it, be it for a timetable that was ended since."""
        with self._lock:
            if chore.name in self._begun:
                raise _HangsError
            self._begun[chore.name] = self._ages.clock.now()
        try:
            chore.do()
        finally:
            with self._lock:
                del self._begun[chore.name]

    def _notice_hanging(self) -> None:
        now = self._ages.clock.now()
        with self._lock:
            ages = {name: now - since for name, since in self._begun.items()}
        long = [name for name, age in ages.items() if age >= _LONGEST_MS]
        self.outcomes |= dict.fromkeys(long, _HANGS)
        if endless := [name for name in long if ages[name] >= _ENDLESS_MS]:
            raise MustEndError(f"chore {endless[0]} was begun an hour ago and has not ended")

    def _went_wrong(self, event: Any) -> None:
        error = getattr(event, "exception", None)
        hangs = error is None or isinstance(error, _HangsError)
        why = _HANGS if hangs else f"{type(error).__name__}: {error}"
        self.outcomes[event.job_id] = why
        log.warning("chore %s was not done: %s", event.job_id, why)

    def _went_well(self, event: Any) -> None:
        self.outcomes[event.job_id] = ""

    def close(self) -> None:
        """End the timetable; a chore that runs is not waited for."""
        table, self._table = self._table, None
        if table is not None:
            table.shutdown(wait=False)
