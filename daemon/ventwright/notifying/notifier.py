"""Delivers what waits in the outboxes, each message once to each service, until it is too old.

A service's answer and its record are two things: a courier that is killed between them, some ms,
or loses power within the seconds until its file is on the disk, sends that one message once more.
"""

import logging
import sqlite3
from collections.abc import Callable
from typing import Protocol

from ventwright.exporting.backoff import Backoff
from ventwright.notifying.ages import Ages
from ventwright.notifying.outbox import Outbox, Parcel
from ventwright.settings.durations import format_duration
from ventwright.settings.model import MINUTE, SECOND

LOOK_EVERY_MS = SECOND
SPACING_MS = SECOND // 2
"""Time between two messages to one service."""
LATE_MS = 5 * MINUTE
SWEEP_EVERY_MS = MINUTE

log = logging.getLogger(__name__)


class Recipient(Protocol):
    """One service."""

    name: str

    def send(self, title: str, body: str, priority: str) -> str:
        """Deliver; return nothing if it was taken, else the reason."""


class Notifier:
    """Delivers; `step` does one round and says how long to wait before the next."""

    def __init__(
        self,
        outboxes: list[Outbox],
        services: list[Recipient],
        ages: Ages,
        too_old: int,
        waits: Callable[[str], bool] = lambda _priority: False,
    ) -> None:
        """Serve the outboxes in order; messages older than `too_old` ms are given up.

        `waits` tells of a priority whether quiet hours hold it back now.
        """
        self._waits = waits
        self._outboxes, self._services, self._ages = outboxes, services, ages
        self._too_old = too_old
        self._clock = ages.clock
        self._backoffs = {service.name: Backoff(5 * SECOND) for service in services}
        self._due = dict.fromkeys(self._backoffs, 0)
        self._unrecorded: list[tuple[Outbox, str, Parcel]] = []
        self._sweep_due = 0
        self.outcomes: dict[str, str] = {}
        """Of each service that was tried: why it did not take the latest message, or nothing."""

    def step(self) -> int:
        """Deliver at most one message to each service; return the time to wait, ms."""
        self._sweep()
        self._record()
        for service in self._services:
            if self._clock.now() >= self._due[service.name]:
                self._serve(service)
        return LOOK_EVERY_MS

    def idle(self) -> bool:
        """Tell whether nothing waits; raises sqlite3.Error."""
        return not any(
            o.parcels(s.name, self._waits) for o in self._outboxes for s in self._services
        )

    def _sweep(self) -> None:
        if self._clock.now() < self._sweep_due:
            return
        self._sweep_due = self._clock.now() + SWEEP_EVERY_MS
        for outbox in self._outboxes:
            try:
                outbox.give_up(lambda *moment: self._ages.age(*moment) > self._too_old)
            except (sqlite3.Error, OSError) as error:
                log.warning("cannot give up old messages now: %s", error)

    def _record(self) -> None:
        """Record what was delivered while the file could not be written."""
        waiting, self._unrecorded = self._unrecorded, []
        for outbox, service, parcel in waiting:
            self._delivered(outbox, service, parcel)

    def _delivered(self, outbox: Outbox, service: str, parcel: Parcel) -> None:
        try:
            outbox.delivered(service, parcel)
        except (sqlite3.Error, OSError) as error:
            log.warning("cannot record a delivery now: %s", error)
            self._unrecorded.append((outbox, service, parcel))

    def _next(self, service: str) -> tuple[Outbox, Parcel] | None:
        """Find what to send, but nothing whose delivery could not be recorded."""
        blocked = {id(outbox) for outbox, _, _ in self._unrecorded}
        for outbox in self._outboxes:
            if id(outbox) not in blocked and (found := self._waiting(outbox, service)):
                return outbox, found[0]
        return None

    def _waiting(self, outbox: Outbox, service: str) -> list[Parcel]:
        try:
            return outbox.parcels(service, self._waits)
        except (sqlite3.Error, OSError) as error:
            log.warning("cannot read the waiting messages now: %s", error)
            return []

    def _serve(self, service: Recipient) -> None:
        found = self._next(service.name)
        if found is None:
            return
        outbox, parcel = found
        reason = self.outcomes[service.name] = self._send(service, parcel)
        backoff, now = self._backoffs[service.name], self._clock.now()
        if reason:
            log.info("service %s did not take a message: %s", service.name, reason)
            self._due[service.name] = now + backoff.failed()
            self._failed(outbox, service.name, parcel, reason)
        else:
            backoff.worked()
            self._due[service.name] = now + SPACING_MS
            self._delivered(outbox, service.name, parcel)

    def _send(self, service: Recipient, parcel: Parcel) -> str:
        """Deliver; a service whose code fails costs its own messages a delay, and no other's."""
        try:
            return service.send(parcel.title, self._body(parcel), parcel.newest.priority)
        except Exception as error:  # noqa: BLE001 - its text may show the address: the kind only
            return f"its code failed: {type(error).__name__}"

    @staticmethod
    def _failed(outbox: Outbox, service: str, parcel: Parcel, reason: str) -> None:
        try:
            outbox.failed(service, parcel, reason)
        except (sqlite3.Error, OSError) as error:
            log.warning("cannot record a failed delivery now: %s", error)

    def _body(self, parcel: Parcel) -> str:
        newest = parcel.newest
        age = self._ages.age(newest.boot, newest.t, newest.label)
        if parcel.dated:
            return parcel.body
        late = f"\nSent late: this was {format_duration(age)} ago." if age >= LATE_MS else ""
        return parcel.body + late
