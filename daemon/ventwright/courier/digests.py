"""The digest of a day or a week, told once: a chore that the courier's timetable calls.

It knows when and to whom; what is in it comes from reporting/, in plain Python.
"""

import logging
import sqlite3
from typing import Any

from ventwright.courier.teller import Teller
from ventwright.notifying.ages import Ages
from ventwright.notifying.message import Message
from ventwright.reporting.digest import digest, digest_title
from ventwright.reporting.facts import facts
from ventwright.reporting.gathered import Gathered
from ventwright.reporting.periods import Period, day_of, week_of
from ventwright.settings.hours import parse_time
from ventwright.settings.model import DAY, Settings

_FLAG = "digest told"
_NOON = 12 * 60

log = logging.getLogger(__name__)


class Digests:
    """Tells each digest once, over restarts too."""

    def __init__(self, settings: Settings, teller: Teller, ages: Ages) -> None:
        """Take who is told and what the time is; nothing is read yet."""
        self._settings, self._teller, self._ages = settings, teller, ages

    @property
    def wanted(self) -> bool:
        """Whether the owner wants digests."""
        return self._settings.report.digest != "none"

    @property
    def times(self) -> dict[str, Any]:
        """When the chore is due, local time, as apscheduler's cron trigger takes it.

        A digest in the afternoon is of the day or week that runs, and of a week on Sunday; one in
        the morning is of the one before, and of a week on Monday. It is tried again every hour of
        that day, for the board may have been off.
        """
        hour, minute = divmod(parse_time(self._settings.report.digest_at), 60)
        at: dict[str, Any] = {"hour": f"{hour}-23", "minute": minute}
        if self._settings.report.digest == "week":
            at["day_of_week"] = 0 if self._of_the_one_before else 6
        return at

    @property
    def _of_the_one_before(self) -> bool:
        return parse_time(self._settings.report.digest_at) < _NOON

    def period(self, now: int) -> Period:
        """Choose what a digest that is told at `now` (Unix ms) is of."""
        find = week_of if self._settings.report.digest == "week" else day_of
        found = find(now)
        return find(found.begins - DAY // 2) if self._of_the_one_before else found

    def tell(self) -> bool:
        """Put the digest into the outbox, unless it is there; tells whether it did.

        While the clock is not known to be right nothing is told: days would be wrong.
        """
        now = self._ages.wall()
        if now is None or not self.wanted:
            return False
        period = self.period(now)
        if self._teller.flag(_FLAG) == period.file:
            return False
        try:
            told = facts(Gathered(self._settings, period, now))
        except sqlite3.Error as error:
            log.warning("no digest, for the store could not be read: %s", error)
            return False
        message = Message(f"digest {period.file}", "begin", "low", digest_title(told), digest(told))
        self._teller.note(_FLAG, period.file, message)
        return True
