"""The keeper's side of a rehearsal: real serial ports, but clock, buses and lines of the world.

The keeper calls `rehearsal_wiring` and is otherwise the same program.
"""

import ctypes
import threading
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ventwright.rehearsal.baton import LockstepClock
from ventwright.rehearsal.wire import Broken, WorldLine
from ventwright.storage.keeping import Labels
from ventwright_drivers.part import RawBus, SerialPort, Wiring
from ventwright_drivers.serial.link import open_serial

_READ_FLAG = 1  # I2C_M_RD of the kernel


@dataclass(frozen=True)
class RehearsalWiring(Wiring):
    """The wiring of a rehearsal, and what else the keeper takes from the world."""

    boot: str
    """Name of the boot in the store."""
    offset: int
    """Unix time in ms = clock + offset."""
    world: "World"
    """The way to the world; close it to end."""


class World:
    """What the keeper can ask of the world; one question at a time."""

    def __init__(self, line: WorldLine) -> None:
        """Speak over an open line."""
        self._line = line
        self._lock = threading.Lock()
        self.sent: Counter[str] = Counter()
        """Bytes written so far, by path of the port."""

    def ask(self, verb: str, **words: Any) -> Any:
        """Ask and wait; raises OSError as the real thing would, Broken if the world is gone."""
        with self._lock:
            return self._line.ask(verb, **words)

    def close(self) -> None:
        """Hang up: the world takes it that the keeper has ended."""
        self._line.close()

    def idle(self, deadline: int | None) -> int | None:
        """Let time pass; None once the rehearsal is over or the world is gone."""
        try:
            now: int | None = self.ask("idle", deadline=deadline, sent=self.sent)
        except Broken:
            return None
        return now


class CountingPort:
    """A real port that counts what is written, so that the world knows what to wait for."""

    def __init__(self, port: SerialPort, path: str, sent: Counter[str]) -> None:
        """Count into `sent` under `path`."""
        self._port = port
        self._path = path
        self._sent = sent

    def fileno(self) -> int:
        """Give the port's descriptor."""
        return self._port.fileno()

    def read(self, size: int) -> bytes:
        """Take up to `size` bytes that have arrived."""
        return self._port.read(size)

    def write(self, data: bytes, /) -> int | None:
        """Send bytes and count them."""
        written = self._port.write(data)
        self._sent[self._path] += len(data) if written is None else written
        return written

    def close(self) -> None:
        """Close the port."""
        self._port.close()


class RemoteBus:
    """An I2C bus of the world, as smbus2 has it."""

    def __init__(self, world: World, number: int) -> None:
        """Stand for bus `number`."""
        self._world = world
        self._number = number

    def i2c_rdwr(self, *messages: Any) -> None:
        """Carry out i2c_msg objects in the world; raises OSError with the world's number."""
        parts = [[m.addr, m.len if m.flags & _READ_FLAG else bytes(m).hex()] for m in messages]
        replies = iter(self._world.ask("i2c", bus=self._number, parts=parts))
        for message in messages:
            if message.flags & _READ_FLAG:
                ctypes.memmove(message.buf, bytes.fromhex(next(replies)), message.len)

    def close(self) -> None:
        """Do nothing: the world keeps its buses."""


class RemoteLines:
    """GPIO lines of the world, as gpiod's LineRequest has them."""

    def __init__(self, world: World, number: int) -> None:
        """Stand for the world's request `number`."""
        self._world = world
        self._number = number

    def set_value(self, line: int, value: Any) -> None:
        """Drive a line; raises OSError."""
        self._world.ask("set", request=self._number, line=line, on=bool(value))

    def get_value(self, line: int) -> Any:
        """Read a line; raises OSError."""
        from gpiod.line import Value

        on = self._world.ask("get", request=self._number, line=line)
        return Value.ACTIVE if on else Value.INACTIVE

    def release(self) -> None:
        """Give the lines back."""
        self._world.ask("release", request=self._number)


def _plain(config: Mapping[Any, Any]) -> list[list[Any]]:
    """Write gpiod settings so that they can be sent: only what we ever set."""
    lines: list[list[Any]] = []
    for key, settings in config.items():
        words = {
            "output": settings.direction.name == "OUTPUT",
            "on": bool(settings.output_value),
            "active_low": settings.active_low,
        }
        lines += [[line, words] for line in ((key,) if isinstance(key, int) else key)]
    return lines


def rehearsal_wiring(socket_path: Path) -> RehearsalWiring:
    """Wire the keeper to the world that listens at `socket_path`; raises OSError.

    Call it in the thread that starts the keeper's others: that thread holds the baton first.
    """
    world = World(WorldLine(socket_path))
    hello = world.ask("hello")

    def open_port(path: str, baud: int, parity: str, stop_bits: int) -> SerialPort:
        return CountingPort(open_serial(path, baud, parity, stop_bits), path, world.sent)

    def open_bus(number: int) -> RawBus:
        return RemoteBus(world, number)

    def request_lines(path: str, *, consumer: str, config: Mapping[Any, Any]) -> RemoteLines:
        lines = _plain(config)
        return RemoteLines(world, world.ask("open", path=path, consumer=consumer, lines=lines))

    return RehearsalWiring(
        clock=LockstepClock(hello["now"], world.idle),
        open_port=open_port,
        open_bus=open_bus,
        request_lines=request_lines,
        boot=hello["boot"],
        offset=hello["offset"],
        world=world,
    )


def rehearsal_surroundings(socket_path: Path) -> tuple[Wiring, str, Labels]:
    """Give the keeper its wiring, the name of its boot and labels that are right from the start.

    Raises OSError if no world listens at `socket_path`.
    """
    wiring = rehearsal_wiring(socket_path)
    return wiring, wiring.boot, Labels(lambda: wiring.offset, lambda: True)
