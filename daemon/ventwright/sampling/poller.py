"""Polls the parts of one port or bus on monotonic deadlines, whatever befalls them.

Knows parts and time; knows no rule. A part that fails is closed and started again after a
back-off that doubles from one second to thirty; its neighbours on the bus go on meanwhile.
"""

import contextlib
from collections.abc import Callable, Iterable

from ventwright.events import Event, Measured, Started, Trouble
from ventwright_drivers.clock import Clock
from ventwright_drivers.errors import DriverError
from ventwright_drivers.part import Part

FIRST_PAUSE_MS = 1000
LONGEST_PAUSE_MS = 30_000

Put = Callable[[Event], None]


class Polled:
    """One part being polled."""

    def __init__(self, name: str, part: Part, put: Put) -> None:
        """Start with the next turn; `put` takes the events."""
        self.name = name
        self.part = part
        self._put = put
        self._clock: Clock = part.clock
        self.due = self._clock.now()
        """Time of the next turn, ms."""
        self._running = False
        self._restarts = part.restarts
        self._pause = FIRST_PAUSE_MS

    def turn(self) -> None:
        """Start the part if need be and take one sample; never raises."""
        try:
            if not self._running:
                self.part.start()
                self._running = True
                self._put(Started(self._clock.now(), self.name))
            self._take()
        except DriverError as error:
            self._failed(self._why(error))
        except Exception as error:  # noqa: BLE001 - a driver's bug must cost its own part only
            self._failed(f"the driver of {self.part.model} failed: {error!r}")

    def _why(self, error: DriverError) -> str:
        """Name the part that is there instead, where what came over a port tells it."""
        said = getattr(error, "said", b"") or getattr(error.__cause__, "said", b"")
        if not said:
            return str(error)
        from ventwright.finding.asked import Asked
        from ventwright.finding.instead import other
        from ventwright_drivers.registry import where

        part = self.part
        return other(
            Asked(f"parts.{self.name}", part.model, part.options, part.wiring, where(type(part))),
            said,
        ) or str(error)

    def _take(self) -> None:
        sample = self.part.read()
        now = self._clock.now()
        if sample is None:
            self.due = now + self.part.period_ms // 4
            return
        self._pause = FIRST_PAUSE_MS
        if self.part.restarts != self._restarts:
            self._restarts = self.part.restarts
            self._put(Started(now, self.name))
        self._put(Measured(now, self.name, sample))
        self.due = now if self.part.paced_by_part else self._next(now)

    def _next(self, now: int) -> int:
        """Keep the pace; after a delay of more than a period, take it up from now."""
        due = self.due + self.part.period_ms
        return due if due > now else now + self.part.period_ms

    def _failed(self, why: str) -> None:
        self._running = False
        self.close()
        now = self._clock.now()
        if not self._clock.stopped:
            self._put(Trouble(now, self.name, why))
        self.due = now + self._pause
        self._pause = min(2 * self._pause, LONGEST_PAUSE_MS)

    def close(self) -> None:
        """Close the part; never raises."""
        with contextlib.suppress(Exception):  # a driver's bug must cost its own part only
            self.part.close()


class Poller:
    """The thread of one place."""

    def __init__(self, clock: Clock, polled: Iterable[Polled]) -> None:
        """Take the parts of one place."""
        self._clock = clock
        self._polled = list(polled)

    def run(self) -> None:
        """Poll until the clock is stopped, then close every part."""
        while not self._clock.stopped:
            next_one = min(self._polled, key=lambda polled: polled.due)
            if next_one.due > self._clock.now():
                self._clock.sleep_until(next_one.due)
                continue
            next_one.turn()
        for polled in self._polled:
            polled.close()


def by_place(polled: Iterable[Polled]) -> dict[str, list[Polled]]:
    """Group parts by the port or bus on which they are."""
    places: dict[str, list[Polled]] = {}
    for one in polled:
        places.setdefault(one.part.place, []).append(one)
    return places
