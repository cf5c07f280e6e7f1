"""What the courier does at times of day, by apscheduler, in a thread of its own; never polling.

It knows times and calls; it must not know what a chore does.
"""

from collections.abc import Callable, Mapping
from typing import Any

from apscheduler.schedulers.background import BackgroundScheduler


class Chores:
    """The timetable."""

    def __init__(self) -> None:
        """Start with nothing to do. A time that was slept through is made up for, once."""
        habits = {"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
        self._scheduler = BackgroundScheduler(daemon=True, job_defaults=habits)

    def add(self, name: str, times: Mapping[str, Any], chore: Callable[[], object]) -> None:
        """Do something at times, local time, as apscheduler's cron trigger takes them."""
        self._scheduler.add_job(chore, "cron", id=name, **times)

    @property
    def names(self) -> list[str]:
        """What there is to do."""
        return [job.id for job in self._scheduler.get_jobs()]

    def start(self) -> None:
        """Begin to do it."""
        self._scheduler.start()

    def stop(self) -> None:
        """Begin no more of it; what runs is not waited for. May be called twice."""
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
