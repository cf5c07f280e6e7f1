"""The hand on one relay: commands it at once, repeats the command, reads it back, reports.

Knows a relay and time; knows no rule. It runs in a thread of its own, so that a slow or lost
relay delays nobody.
"""

import contextlib
from collections.abc import Callable

from ventwright.events import RelayReport
from ventwright_drivers.errors import DriverError
from ventwright_drivers.part import Relay

RETRY_MS = (1000, 2000, 5000, 10_000)
"""Waits after the first, second, ... failed command."""

STUCK_MS = 60_000
"""A command that has not come to an end by then, one way or the other, never will: its driver
hangs. The slowest, of a relay whose neighbours on the line are dead too, end well within that."""

LAST_TRIES = 3
"""How often the safe state is commanded at the end until the relay obeys."""

_END = object()


class RelayHand:
    """One relay, commanded."""

    def __init__(
        self,
        name: str,
        relay: Relay,
        repeat_every: int,
        safe: bool,
        report: Callable[[RelayReport], None],
    ) -> None:
        """Take a relay; `repeat_every` in ms, `safe` is the contact's state after an end."""
        self._name = name
        self._relay = relay
        self._clock = relay.clock
        self._inbox = relay.clock.inbox()
        self._repeat_every = repeat_every
        self._safe = safe
        self._report = report
        self._wanted: bool | None = None
        self._open = False
        self._failures = 0
        self._next: int | None = None
        self._busy: int | None = None

    def stuck(self, now: int) -> bool:
        """Tell, from whatever thread, whether a command hangs at `now` (ms)."""
        busy = self._busy
        return busy is not None and now - busy > STUCK_MS

    def command(self, on: bool) -> None:
        """Have the contact closed (True) or opened; returns at once."""
        self._inbox.put(on)

    def end(self) -> None:
        """Have `run` end as if the clock were stopped, though the relay's goes on."""
        self._inbox.put(_END)

    def run(self) -> None:
        """Obey until `end` or until the clock is stopped, then leave the contact safe."""
        while not self._clock.stopped:
            item = self._inbox.get(self._next)
            if item is _END or self._clock.stopped:
                break
            if isinstance(item, bool):
                self._wanted = item
            if self._wanted is not None:
                self._do(self._wanted)
        self._make_safe()
        self._close()

    def _make_safe(self) -> None:
        for _ in range(LAST_TRIES):
            self._do(self._safe)
            if not self._failures or self._clock.stopped:
                return

    def _do(self, on: bool) -> None:
        self._busy = self._clock.now()
        try:
            state = self._switch(on)
        except DriverError as error:
            self._failed(on, None, str(error))
        except Exception as error:  # noqa: BLE001 - a driver's bug must not end the hand
            self._failed(on, None, f"the driver of {self._relay.model} failed: {error!r}")
        else:
            if state is not None and state != on:
                self._failed(on, state, "")
            else:
                self._done(on, state)
        finally:
            self._busy = None

    def _switch(self, on: bool) -> bool | None:
        if not self._open:
            self._relay.start()
            self._open = True
        self._relay.switch(on)
        return self._relay.state()

    def _done(self, on: bool, state: bool | None) -> None:
        now = self._clock.now()
        self._failures = 0
        self._next = now + self._repeat_every
        self._report(RelayReport(now, self._name, on, state))

    def _close(self) -> None:
        self._open = False
        with contextlib.suppress(Exception):  # a driver's bug must not end the hand
            self._relay.close()

    def _failed(self, on: bool, state: bool | None, why: str) -> None:
        if why:
            self._close()
        now = self._clock.now()
        self._next = now + RETRY_MS[min(self._failures, len(RETRY_MS) - 1)]
        self._failures += 1
        self._report(RelayReport(now, self._name, on, state, why))
