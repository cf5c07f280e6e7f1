"""The tachometer wire of a fan on a GPIO line: tells whether what the relay switches does turn.

The wire gives two pulses a revolution, mostly, by pulling to GND: pull it up to 3.3 V and never
connect one that is pulled to 12 V. Speed is counted between kernel timestamps by the numbers that
the kernel gives to edges, so edges that a full buffer lost still count (from memory). A fan whose
supply is chopped shows false pulses. Source: protocols.md sections 23 and 24.
"""

import contextlib
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated, Any, cast

from annotated_types import Ge, Interval

from ventwright_drivers.errors import DeviceLost
from ventwright_drivers.part import GpioEdges, Part, Sample
from ventwright_drivers.relay.gpio import CONSUMER

_STALLED_MS = 2000
_ENOUGH = 16  # events a sample: a line that rings without end must not hold up its thread
_NS_A_MINUTE = 60_000_000_000
_SEQUENCE = 0xFFFFFFFF


@dataclass(frozen=True, kw_only=True)
class TachoOptions:
    """Which line the tachometer's wire is at, and what the fan sends there."""

    chip: str = "/dev/gpiochip0"
    """Path of the chip."""

    line: Annotated[int, Ge(0)]
    """Offset of the line on its chip."""

    pulses_per_revolution: Annotated[int, Interval(ge=1, le=12)] = 2
    """Pulses in one turn: 2 for most fans, 1 or 4 for some (from memory)."""

    debounce: Annotated[int, Interval(ge=0, le=1000)] = 100
    """Time for which a level must hold to count, µs; at most half of the shortest pulse."""

    pull_up: bool = True
    """True to use the line's own pull-up resistor, False where one to 3.3 V is fitted."""


def speed(first: Any, last: Any, pulses_per_revolution: int) -> float | None:
    """Compute a speed, 1/min, from two of gpiod's edge events; None if they are the same."""
    edges = last.line_seqno - first.line_seqno & _SEQUENCE
    span = last.timestamp_ns - first.timestamp_ns
    return _NS_A_MINUTE * edges / span / pulses_per_revolution if edges and span > 0 else None


class Tacho(Part):
    """Measures a fan's speed, 0 to 30000 1/min, once a second; 0 after 2 s without a pulse."""

    model = "tacho-gpio"
    Options = TachoOptions
    quantities = ("fan_speed",)
    _request: GpioEdges | None = None
    _last: Any = None
    _heard = 0

    @property
    def place(self) -> str:
        """The chip; reading never waits, so all lines of a chip are polled by one thread."""
        return str(self.options.chip)

    def _lost(self, what: object) -> DeviceLost:
        return DeviceLost(f"line {self.options.line} of {self.options.chip}: {what}")

    def start(self) -> None:
        """Take the line and count from now on; raises DeviceLost."""
        self.close()
        config = {self.options.line: self._settings()}
        try:
            taken = self.wiring.request_lines(self.options.chip, consumer=CONSUMER, config=config)
        except OSError as error:
            raise self._lost(error.strerror or error) from error
        self._request, self._last = cast(GpioEdges, taken), None
        self._heard = self.clock.now()

    def _settings(self) -> Any:
        from gpiod import LineSettings
        from gpiod.line import Bias, Direction, Edge

        return LineSettings(
            direction=Direction.INPUT,
            edge_detection=Edge.FALLING,
            bias=Bias.PULL_UP if self.options.pull_up else Bias.AS_IS,
            debounce_period=timedelta(microseconds=self.options.debounce),
        )

    def read(self) -> Sample | None:
        """Give the mean speed since the last sample; None if less than a turn's part is known.

        Raises DeviceLost.
        """
        now, events = self.clock.now(), self._events()
        if events:
            first, self._last, self._heard = self._last or events[0], events[-1], now
            found = speed(first, self._last, self.options.pulses_per_revolution)
            return None if found is None else Sample((found,))
        if now - self._heard < _STALLED_MS:
            return None
        self._last = None
        return Sample((0.0,))

    def _events(self) -> list[Any]:
        """Take the edges that the kernel holds, without waiting for any."""
        request, events = self._request, list[Any]()
        if request is None:
            raise self._lost("not open")
        try:
            while len(events) < _ENOUGH and request.wait_edge_events(0):
                events += request.read_edge_events()
        except OSError as error:
            raise self._lost(error.strerror or error) from error
        return events

    def close(self) -> None:
        """Give the line back."""
        request, self._request = self._request, None
        if request is not None:
            with contextlib.suppress(OSError):
                request.release()
