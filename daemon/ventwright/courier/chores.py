"""Chores by the wall clock: digests, and word to the keeper of what may be pruned.

They begin only once the clock is known to be right, and begin anew when it is set by more than a
minute, for the library that keeps the timetable waits by it. Never anything that must be punctual.
"""

import logging
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from ventwright.notifying.ages import Ages
from ventwright.settings.model import MINUTE

_JUMP_MS = MINUTE

log = logging.getLogger(__name__)


class Chore(NamedTuple):
    """What is to be done, and when, as a cron trigger takes it (local time)."""

    name: str
    do: Callable[[], Any]
    times: Mapping[str, Any]


class Chores:
    """The timetable; one chore at a time, in a thread of its own."""

    def __init__(self, chores: list[Chore], ages: Ages) -> None:
        """Begin nothing yet, and load no library. What was slept through is made up for, once."""
        self._chores, self._ages = chores, ages
        self._table: Any = None
        self._offset = 0
        self.failing: dict[str, str] = {}
        """Chores that were not done the last time, and why."""

    @property
    def names(self) -> list[str]:
        """What there is to do."""
        return [chore.name for chore in self._chores]

    def step(self) -> None:
        """Begin once the clock is right, and again where it was set; to be called often."""
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
        table = BackgroundScheduler(
            executors={"default": ThreadPoolExecutor(1)}, job_defaults=defaults
        )
        for chore in self._chores:
            table.add_job(chore.do, "cron", id=chore.name, **chore.times)
        wrong = events.EVENT_JOB_ERROR | events.EVENT_JOB_MISSED | events.EVENT_JOB_MAX_INSTANCES
        table.add_listener(self._went_wrong, wrong)
        table.add_listener(self._went_well, events.EVENT_JOB_EXECUTED)
        table.start()
        self._table = table

    def _went_wrong(self, event: Any) -> None:
        error = getattr(event, "exception", None)
        why = f"{type(error).__name__}: {error}" if error else "the one before had not ended"
        self.failing[event.job_id] = why
        log.warning("chore %s was not done: %s", event.job_id, why)

    def _went_well(self, event: Any) -> None:
        self.failing.pop(event.job_id, None)

    def close(self) -> None:
        """End the timetable; a chore that runs is not waited for."""
        table, self._table = self._table, None
        if table is not None:
            table.shutdown(wait=False)
