"""Tells once, from the trend of every use of an extractor, when its filter is due: a daily chore.

It knows when and to whom; how an extractor cleared and where that goes comes from source/.
"""

import logging
import sqlite3
import time
from typing import Any

from ventwright.courier.teller import Teller
from ventwright.notifying.ages import Ages
from ventwright.notifying.message import Message, text
from ventwright.settings.model import Settings
from ventwright.source.proof import LOW
from ventwright.source.trend import Trend, trend_of
from ventwright.source.uses import uses_of

_SURE = 0.01
"""Chance of such a trend where there is none: lower than for a look now and then, at one a day."""

log = logging.getLogger(__name__)


def _message(room: str, name: str, trend: Trend, due: int) -> Message:
    """Say that an extractor clears less from month to month, and when something has to be done."""
    when = time.strftime("%B %Y", time.localtime(due / 1000))
    title = f"{room}: filter of {name} due about {when}"
    said = text(
        f"Clearance by {name} gets less and less: over {trend.uses} uses it fell by "
        f"{-100 * trend.a_month:.1f} points a month and is at "
        f"{100 * trend.level:.0f} % of what was commissioned.",
        f"Below {100 * LOW:.0f} % something has to be done.",
        "Have filter and duct looked at, then run `ventwright commission` again.",
    )
    return Message(f"filter {name}", "begin", "low", title, said)


class Filters:
    """Looks once a day; tells of each extractor once until it is commissioned anew."""

    times: dict[str, Any] = {"hour": 10, "minute": 20}  # noqa: RUF012 - read only
    """When the chore is due, local time, as apscheduler's cron trigger takes it."""

    def __init__(self, settings: Settings, teller: Teller, ages: Ages) -> None:
        """Take who is told and what the time is; nothing is read yet."""
        self._settings, self._teller, self._ages = settings, teller, ages

    def tell(self) -> None:
        """Look at every extractor; nothing is told while the clock is not known to be right."""
        if self._ages.wall() is None:
            return
        try:
            found = uses_of(self._settings.store.folder)
        except sqlite3.Error as error:
            log.warning("clearance was not looked at, for the store could not be read: %s", error)
            return
        for name in self._settings.extractors:
            self._look(name, trend_of(found.get(name, []), LOW))

    def _look(self, name: str, trend: Trend | None) -> None:
        """Tell a fall that was not told; few uses mean a new beginning, after which it may be."""
        flag = f"filter told {name}"
        told = self._teller.flag(flag)
        if trend is None:
            if told:
                self._teller.note(flag, False)
        elif trend.due is not None and trend.chance < _SURE and not told:
            room = self._settings.room.name
            self._teller.note(flag, True, _message(room, name, trend, trend.due))
