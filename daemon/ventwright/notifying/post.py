"""Who gets a message and when, by the priority of what it is about.

The end of something goes where its beginning went, and waits for the end of the quiet hours only if
its beginning would. Quiet hours are by the wall clock, and there are none while it is not trusted.
"""

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import datetime

from ventwright.courier.file import CourierFile
from ventwright.notifying.ages import Ages
from ventwright.notifying.message import Message
from ventwright.notifying.outbox import Moment, concern_of, put
from ventwright.settings.model import PRIORITIES, Settings, Urgency
from ventwright.settings.quiet import is_quiet, parse_quiet


class Post:
    """The rules of `[phone]` and `[priorities.NAME]` on the services that there are."""

    def __init__(self, settings: Settings, labels: Mapping[str, str], ages: Ages) -> None:
        """Take the services and what each is called in the services file.

        Raises ValueError where a priority is for somebody who is not in that file.
        """
        phone = settings.phone
        self._hours = parse_quiet(phone.quiet) if phone and phone.quiet else None
        self._urgencies = {name: settings.urgency(name) for name in PRIORITIES}
        self._ages = ages
        self.alarms = frozenset(settings.alarms)
        """The alarms that there are."""
        self.services = list(labels)
        self._routes = {
            name: _route(name, urgency, labels) for name, urgency in self._urgencies.items()
        }

    def urgency(self, priority: str) -> Urgency:
        """Give the rules of a priority; those of medium for an unknown one."""
        return self._urgencies.get(priority, self._urgencies["medium"])

    def waits(self, priority: str) -> bool:
        """Tell whether quiet hours hold a priority back now."""
        if self._hours is None or self.urgency(priority).in_quiet_hours == "tell":
            return False
        wall = self._ages.wall()
        if wall is None:
            return False
        local = datetime.fromtimestamp(wall / 1000)
        return is_quiet(self._hours, local.hour * 60 + local.minute)

    def put(self, db: sqlite3.Connection, message: Message, moment: Moment) -> None:
        """Add a message for those whom it concerns, inside the caller's transaction."""
        concern = concern_of(db, message)
        services = self._routes.get(concern, self.services)
        if services:
            put(db, message, moment, services, concern, held=self.waits(concern))

    def add(self, file: CourierFile, message: Message, moment: Moment) -> None:
        """Add a message in a transaction of its own; raises sqlite3.Error."""
        with file.transaction() as db:
            self.put(db, message, moment)


def _route(priority: str, urgency: Urgency, labels: Mapping[str, str]) -> Sequence[str]:
    unknown = [one for one in urgency.to if one not in labels.values()]
    if unknown and labels:
        raise ValueError(
            f'priorities.{priority}.to names "{unknown[0]}", and no line of the services file '
            f'begins with "{unknown[0]}:"'
        )
    return [name for name, label in labels.items() if not urgency.to or label in urgency.to]
