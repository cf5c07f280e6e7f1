"""Serves one keeper at a time from the world, over the socket, at a pace.

The world runs in the thread that calls `host`; nothing else touches it.
"""

import errno
import os
import socket
import time
from collections.abc import Callable
from typing import Any

from gpiod.line import Direction, Value
from gpiod.line_settings import LineSettings

from ventwright.rehearsal.wire import Broken, receive, send
from ventwright.rehearsal.world import BUS, START_MS, World
from ventwright_drivers.emulated.gpio_chip import EmulatedChip, EmulatedRequest

_GLANCE_S = 0.1
_NOT_WORTH_SLEEPING_S = 0.002


class Pace:
    """Holds simulated time back to so many simulated seconds a real second."""

    def __init__(self, pace: float | None) -> None:
        """Hold `pace`, or do not hold back at all (None)."""
        self._pace = pace
        self._began = time.monotonic()

    def hold(self, now: int) -> None:
        """Sleep until it is time for the simulated time `now`, ms."""
        if self._pace is None:
            return
        due = self._began + (now - START_MS) / 1000 / self._pace
        left = due - time.monotonic()
        if left > _NOT_WORTH_SLEEPING_S:
            time.sleep(left)


class Lines:
    """Carries out what is asked of GPIO lines."""

    def __init__(self, chip: EmulatedChip) -> None:
        """Ask `chip`."""
        self._chip = chip
        self._requests: dict[int, EmulatedRequest] = {}

    def do(self, verb: str, packet: dict[str, Any]) -> Any:
        """Carry out open, set, get or release; raises OSError as the chip does."""
        if verb == "open":
            return self._open(packet)
        request = self._requests[packet["request"]]
        if verb == "set":
            request.set_value(packet["line"], Value.ACTIVE if packet["on"] else Value.INACTIVE)
            return None
        return bool(request.get_value(packet["line"])) if verb == "get" else request.release()

    def _open(self, packet: dict[str, Any]) -> int:
        config = {line: self._settings(words) for line, words in packet["lines"]}
        number = len(self._requests) + 1
        self._requests[number] = self._chip.request_lines(
            packet["path"], consumer=packet["consumer"], config=config
        )
        return number

    @staticmethod
    def _settings(words: dict[str, bool]) -> LineSettings:
        return LineSettings(
            direction=Direction.OUTPUT if words["output"] else Direction.INPUT,
            output_value=Value.ACTIVE if words["on"] else Value.INACTIVE,
            active_low=words["active_low"],
        )


class Stage:
    """Answers the keeper's questions from the world."""

    def __init__(self, world: World, boot: str, offset: int, pace: Pace) -> None:
        """Play `world`; `boot` and `offset` (ms) are the keeper's labels."""
        self._world = world
        self._hello = {"boot": boot, "offset": offset}
        self._pace = pace
        self._buses = {BUS: world.bus}
        self._lines = Lines(world.chip)
        self.ended = False
        """True once the keeper was told that it is over."""
        self.stopping = False
        """Set to end before the scenario does."""

    def answer(self, packet: dict[str, Any]) -> dict[str, Any]:
        """Answer one packet; never raises for what the keeper asks."""
        try:
            return {"ok": self._do(packet)}
        except OSError as error:
            return {"errno": error.errno or errno.EIO, "text": error.strerror or str(error)}

    def _do(self, packet: dict[str, Any]) -> Any:
        verb = packet["do"]
        if verb == "idle":
            return self._idle(packet)
        if verb == "i2c":
            return self._transfer(packet["bus"], packet["parts"])
        if verb == "hello":
            self._world.begin()
            return {"now": self._world.now, **self._hello}
        return self._lines.do(verb, packet)

    def _idle(self, packet: dict[str, Any]) -> int | None:
        over = self.ended or self.stopping
        now = None if over else self._world.idle(packet["deadline"], packet["sent"])
        if now is None:
            self.ended = True
        else:
            self._pace.hold(now)
        return now

    def _transfer(self, number: int, parts: list[list[Any]]) -> list[str]:
        if number not in self._buses:
            raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
        bus, replies = self._buses[number], []
        for address, what in parts:
            if isinstance(what, int):
                replies.append(bus.read(address, what).hex())
            else:
                bus.write(address, bytes.fromhex(what))
        return replies

    def wind_down(self) -> None:
        """Carry the last bytes of a keeper that is ending, in real time."""
        self._world.go_on(self._world.now + round(_GLANCE_S * 100))
        for port in self._world.ports.values():
            port.serve(self._world.now)


def host(listener: socket.socket, stage: Stage, alive: Callable[[], bool]) -> None:
    """Serve the keeper that connects until it hangs up, or `alive` says that none will come."""
    listener.settimeout(_GLANCE_S)
    while alive():
        try:
            line, _ = listener.accept()
        except TimeoutError:
            continue
        with line:
            _serve(line, stage, alive)
        return


def _serve(line: socket.socket, stage: Stage, alive: Callable[[], bool]) -> None:
    line.settimeout(_GLANCE_S)
    while True:
        try:
            send(line, stage.answer(receive(line)))
        except TimeoutError:
            if not alive():
                return
        except Broken:
            return
        if stage.ended:
            line.settimeout(_GLANCE_S / 10)
            stage.wind_down()
