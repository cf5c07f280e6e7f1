"""A serial port with the four kinds of error of an unplugged adapter made into one.

Knows bytes and time; knows no frame. Frames are cut from the stream by FrameReader and a
decoder: a pure function that takes bytes and returns how many it used and what it found.
Used 0 means "send me more"; used without a find means "that was garbage, skip it".
"""

import contextlib
import errno
import getpass
import os
import termios
from abc import abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from ventwright_drivers.clock import Clock
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.part import Part, SerialPort, Wiring

T = TypeVar("T")
Decoder = Callable[[bytes], tuple[int, T | None]]

_LOST = (OSError, termios.error, TypeError, ValueError)
"""What pyserial 3.5 raises when the far end is gone (measured on a hung-up pseudo-terminal)."""

_GULP = 4096  # bytes taken at once
_LONGEST = 512  # bytes kept while hunting for a frame; no frame that we know is longer

_GULPS = 64  # reads to empty a port; a terminal gives up to 4096 bytes in one


@dataclass(frozen=True)
class SerialOptions:
    """Where a serial part is."""

    port: str
    """Path of the port; prefer /dev/serial/by-path/..., which survives replugging."""


class _Port:
    """A port opened and set up by pyserial, read straight from its descriptor.

    pyserial 3.5 waits and reads in some hundred lines of Python; here the wait is over already.
    """

    def __init__(self, port: Any) -> None:
        self._port = port
        self._fd: int = port.fileno()

    def fileno(self) -> int:
        return self._fd

    def read(self, size: int) -> bytes:
        data = os.read(self._fd, size)
        if not data:
            raise OSError("it is readable and gives nothing: unplugged")
        return data

    def write(self, data: bytes, /) -> int | None:
        written: int | None = self._port.write(data)
        return written

    def close(self) -> None:
        self._fd = -1
        self._port.close()


def open_serial(path: str, baud: int, parity: str, stop_bits: int) -> SerialPort:
    """Open a port by pyserial: no wait on read, 1 s on write, for us alone."""
    import serial

    return _Port(
        serial.Serial(
            path,
            baud,
            parity=parity,
            stopbits=stop_bits,
            timeout=0,
            write_timeout=1,
            exclusive=True,
        )
    )


NO_PORT = frozenset({errno.ENOTTY, errno.EISDIR})
NO_PORT_WORDS = "no serial port: name one of those under /dev/serial/by-path"


def errno_of(error: BaseException) -> int | None:
    """Give the system's number of an error, or of the one that pyserial made it from."""
    number = getattr(error, "errno", None)
    behind = error.__context__
    if number is None and isinstance(behind, termios.error) and behind.args:
        number = behind.args[0]
    return number if isinstance(number, int) else None


def _refused(error: Exception) -> str:
    """Say why a port does not open and what to do, as the rest of a sentence.

    pyserial names the port and the reason up to three times over.
    """
    number = errno_of(error)
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return "is not there: is it plugged in?"
    if number in (errno.EACCES, errno.EPERM):
        return (
            f"may not be opened by this user: sudo usermod -aG dialout {_user()}, then log in again"
        )
    if number in (errno.EBUSY, errno.EAGAIN):
        return "is in use by another program: stop that first"
    if number in NO_PORT:
        return f"is {NO_PORT_WORDS}"
    return f"does not open: {os.strerror(number) if number else error}"


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # an identity without a name, as in a container
        return "USER"


class SerialLink:
    """An open port on a clock."""

    def __init__(self, wiring: Wiring, path: str, baud: int, parity: str = "N", stop: int = 1):
        """Open the port at `baud`; raises DeviceLost with the path and the reason."""
        self.path = path
        self.clock: Clock = wiring.clock
        try:
            self._port = wiring.open_port(path, baud, parity, stop)
        except _LOST as error:
            raise DeviceLost(f"{path} {_refused(error)}") from error

    def send(self, data: bytes) -> None:
        """Write all of `data`; raises DeviceLost."""
        try:
            self._port.write(data)
        except _LOST as error:
            raise DeviceLost(f"{self.path} is gone while writing: {error}") from error

    def receive(self, until: int) -> bytes:
        """Take what has arrived, waiting for a first byte up to `until` (ms); b"" if none came."""
        try:
            if not self.clock.wait_readable(self._port.fileno(), until):
                return b""
            return self._port.read(_GULP)
        except _LOST as error:
            raise DeviceLost(f"{self.path} is gone while reading: {error}") from error

    def discard(self) -> None:
        """Throw away what has arrived so far; gives up on a port that never stops sending."""
        for _ in range(_GULPS):
            if not self.receive(self.clock.now()):
                return

    def close(self) -> None:
        """Close the port, whatever state it is in."""
        with contextlib.suppress(*_LOST):
            self._port.close()


class FrameReader(Generic[T]):
    """Cuts frames from a link; keeps what is left of a frame for the next call."""

    def __init__(self, link: SerialLink, decode: "Decoder[T]") -> None:
        self._link = link
        self._decode = decode
        self._held = b""

    def _cut(self) -> list[T]:
        found: list[T] = []
        used = 1
        while used and self._held:
            used, item = self._decode(self._held)
            self._held = self._held[used:]
            if item is not None:
                found.append(item)
        self._held = self._held[-_LONGEST:]
        return found

    def frames(self, within_ms: int) -> list[T]:
        """Wait for valid frames, return all that came, oldest first; raises as `next` does."""
        clock = self._link.clock
        until = clock.now() + within_ms
        came = self._held
        while True:
            data = self._link.receive(until)
            came = (came + data)[-_LONGEST:]
            self._held += data
            if found := self._cut():
                return found
            if not data or clock.now() >= until:
                raise self._mute(within_ms, came)

    def _mute(self, within_ms: int, came: bytes) -> NoAnswer:
        what = "nothing usable" if came else "nothing"
        error = NoAnswer(f"{self._link.path} sent {what} for {within_ms / 1000:g} s")
        error.said = came
        return error

    def next(self, within_ms: int) -> T:
        """Wait for a valid frame, return the newest that came; raises NoAnswer, DeviceLost."""
        return self.frames(within_ms)[-1]


class SerialPart(Part):
    """A part alone on a serial port."""

    Options = SerialOptions
    baud = 9600
    parity = "N"
    stop_bits = 1
    _link: SerialLink | None = None

    @property
    def place(self) -> str:
        """The port's path."""
        return str(self.options.port)

    @property
    def link(self) -> SerialLink:
        """The open link; raises DeviceLost before start and after close."""
        if self._link is None:
            raise DeviceLost(f"{self.place} is not open")
        return self._link

    def start(self) -> None:
        """Open the port and let the part prepare itself; raises DeviceLost, the port closed."""
        self.close()
        self._link = SerialLink(self.wiring, self.place, self.baud, self.parity, self.stop_bits)
        try:
            self.prepare()
        except BaseException:
            self.close()
            raise

    def prepare(self) -> None:
        """Send what the part needs before it measures; nothing by default."""

    def close(self) -> None:
        """Close the port."""
        link, self._link = self._link, None
        if link is not None:
            link.close()


class FramedPart(SerialPart, Generic[T]):
    """A serial part that talks in frames, cut from the stream by its own pure decoder."""

    _reader: FrameReader[T] | None = None

    @abstractmethod
    def decode(self, data: bytes) -> tuple[int, T | None]:
        """Find the first frame in `data`: the bytes used, and the frame if it is valid."""

    @property
    def reader(self) -> FrameReader[T]:
        """The frames of the open link; raises DeviceLost before start and after close."""
        if self._reader is None:
            self._reader = FrameReader(self.link, self.decode)
        return self._reader

    def close(self) -> None:
        """Close the port and forget what is left of a frame."""
        super().close()
        self._reader = None
