"""A GPIO chip with a relay board and fans behind it, in place of `gpiod.request_lines`.

Takes gpiod's own LineSettings, is exclusive as the kernel is, and records every change of a
physical level, so that a pulse too short for a meter is still seen. Source: protocols.md 23.
"""

import errno
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from gpiod import EdgeEvent, RequestReleasedError
from gpiod.line import Direction, Value
from gpiod.line_settings import LineSettings

from ventwright_drivers.emulated.gpio_edges import EdgeQueue
from ventwright_drivers.emulated.twin import LineTwin


def _error(number: int, text: str = "") -> OSError:
    return OSError(number, text or os.strerror(number))


class Change(NamedTuple):
    """A physical level that changed: at `at` ms, on `line`, to high or low."""

    at: int
    line: int
    high: bool


def _each(config: Mapping[Any, LineSettings | None]) -> Iterator[tuple[int, LineSettings]]:
    for key, settings in config.items():
        lines: Iterable[int] = (key,) if isinstance(key, int) else key
        for line in lines:
            yield line, settings or LineSettings()


class EmulatedRequest:
    """Lines held by one consumer, as gpiod's LineRequest."""

    def __init__(self, chip: "EmulatedChip", consumer: str, lines: dict[int, LineSettings]) -> None:
        self.consumer = consumer
        self.lines = lines
        self.edges = EdgeQueue(lines, chip.levels)
        self._chip: EmulatedChip | None = chip

    def _line(self, line: int) -> tuple["EmulatedChip", LineSettings]:
        if self._chip is None:
            raise RequestReleasedError
        self._chip.check(self)
        if line not in self.lines:
            raise _error(errno.EINVAL)
        return self._chip, self.lines[line]

    def set_value(self, line: int, value: Any) -> None:
        """Drive a line; raises OSError EPERM (an input), EINVAL (not requested), ENODEV."""
        chip, settings = self._line(line)
        if settings.direction is not Direction.OUTPUT:
            raise _error(errno.EPERM)
        chip.drive(line, (value is Value.ACTIVE) != settings.active_low)

    def get_value(self, line: int) -> Value:
        """Read a line's logical value; raises OSError EINVAL (not requested), ENODEV."""
        chip, settings = self._line(line)
        chip.follow()
        return Value.ACTIVE if chip.levels[line] != settings.active_low else Value.INACTIVE

    def wait_edge_events(self, timeout: float) -> bool:  # noqa: ARG002 - no time passes here
        """Tell whether there are edge events now; raises OSError ENODEV."""
        chip, _ = self._line(next(iter(self.lines)))
        return self.edges.waiting(chip.follow() * 1_000_000)

    def read_edge_events(self) -> list[EdgeEvent]:
        """Take the edge events; raises OSError ENODEV, or EAGAIN where the real one would hang."""
        self.wait_edge_events(0)
        return self.edges.take()

    def release(self) -> None:
        """Give the lines back."""
        chip, self._chip = self._chip, None
        if chip is not None:
            chip.give_back(self)


class EmulatedChip:
    """A chip whose every line leads to a relay board's input."""

    def __init__(
        self,
        now: Callable[[], int],
        path: str = "/dev/gpiochip0",
        *,
        lines: int = 32,
        pulls: Mapping[int, bool] | None = None,
        board_active_low: bool = True,
        keeps_level: bool = False,
    ) -> None:
        """Make a chip; `pulls` are the lines' idle levels (True high), by default the off level.

        `keeps_level`: released lines stay as they were, as the vendor kernels have it.
        """
        self._now = now
        self.path = path
        self._active_low = board_active_low
        self._keeps_level = keeps_level
        self._pulls = [(pulls or {}).get(line, board_active_low) for line in range(lines)]
        self.levels = list(self._pulls)
        self.history: list[Change] = []
        self._requests: list[EmulatedRequest] = []
        self._plugged = True
        self._pulled_by: dict[int, LineTwin] = {}

    def attach(self, line: int, twin: LineTwin) -> None:
        """Put something at a line that sets its level."""
        self._pulled_by[line] = twin

    def follow(self) -> int:
        """Let lines go where what is attached to them pulls them; gives the time, ms."""
        now = self._now()
        for line, twin in self._pulled_by.items():
            for at, high in twin.changes(now):
                self.levels[line] = high
                for request in self._requests:
                    if line in request.lines:
                        request.edges.change(line, at, high)
        return now

    @property
    def contacts(self) -> tuple[bool, ...]:
        """The relay contacts, by line: True is closed."""
        return tuple(level != self._active_low for level in self.levels)

    def check(self, request: EmulatedRequest) -> None:
        """Raise OSError(ENODEV) if the chip was unplugged since the request was made."""
        if request not in self._requests:
            raise _error(errno.ENODEV)

    def unplug(self) -> None:
        """Pull the chip out: lines fall back to their pulls, whoever holds them gets ENODEV."""
        self._plugged = False
        for line, pull in enumerate(self._pulls):
            self.drive(line, pull)
        self._requests.clear()

    def plug(self) -> None:
        """Put the chip back; requests from before stay dead."""
        self._plugged = True

    def drive(self, line: int, high: bool) -> None:
        """Set a physical level and record it if it changed."""
        if self.levels[line] != high:
            self.levels[line] = high
            self.history.append(Change(self._now(), line, high))

    def give_back(self, request: EmulatedRequest) -> None:
        """Take the lines of a request back."""
        if request in self._requests:
            self._requests.remove(request)
            for line in () if self._keeps_level else request.lines:
                self.drive(line, self._pulls[line])

    def _check_free(self, lines: Iterable[int]) -> None:
        for line in lines:
            if not 0 <= line < len(self.levels):
                raise _error(errno.EINVAL)
            for held in self._requests:
                if line in held.lines:
                    raise _error(errno.EBUSY, f"in use by {held.consumer}")

    def request_lines(
        self,
        path: str,
        consumer: str | None = None,
        config: Mapping[Any, LineSettings | None] | None = None,
        output_values: Mapping[int, Value] | None = None,
    ) -> EmulatedRequest:
        """Hold lines; raises OSError ENOENT (no such chip), EINVAL (no such line), EBUSY."""
        if path != self.path or not self._plugged:
            raise _error(errno.ENOENT)
        lines = dict(_each(config or {}))
        if not lines:
            raise _error(errno.EINVAL)
        self._check_free(lines)
        self.follow()
        for line, settings in lines.items():
            if settings.direction is Direction.OUTPUT:
                value = (output_values or {}).get(line, settings.output_value)
                self.drive(line, (value is Value.ACTIVE) != settings.active_low)
        request = EmulatedRequest(self, consumer or "?", lines)
        self._requests.append(request)
        return request
