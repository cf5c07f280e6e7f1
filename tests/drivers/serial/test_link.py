"""The serial link: every way in which a port dies is one error, and garbage ends in one too."""

import errno
import termios
from typing import Any

import pytest
import serial

from fakes import FakeClock, wiring
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.serial.link import FrameReader, SerialLink, open_serial

# What pyserial 3.5 raises once the far end is gone: reliability.md section 9, measured.
DEATHS = [
    serial.SerialException("device reports readiness to read but returned no data"),
    serial.SerialTimeoutException("Write timeout"),
    OSError(5, "Input/output error"),
    termios.error(5, "Input/output error"),
    TypeError("argument must be an int"),
    ValueError("fileno"),
]


class Port:
    """A port that gives `burst` bytes every ms; `death` strikes at `point`."""

    burst = 1

    def __init__(self, clock: FakeClock, data: bytes = b"", point: str = "", death: Any = None):
        self.clock, self.data, self.point, self.death = clock, data, point, death
        self.closed = 0
        self.fd = clock.watch(self)

    def strike(self, point: str) -> None:
        if self.point == point:
            raise self.death

    def ready(self) -> bool:
        return bool(self.data)

    def due(self) -> None:
        return None

    def fileno(self) -> int:
        self.strike("fileno")
        return self.fd

    @property
    def in_waiting(self) -> int:
        return min(self.burst, len(self.data))

    def read(self, size: int) -> bytes:
        self.strike("read")
        self.clock.sleep_until(self.clock.now() + 1)
        size = min(size, self.burst)
        taken, self.data = self.data[:size], self.data[size:]
        return taken

    def write(self, data: bytes, /) -> int:
        self.strike("write")
        return len(data)

    def close(self) -> None:
        self.closed += 1
        self.strike("close")


def link_to(port: Port) -> SerialLink:
    return SerialLink(wiring(port.clock, open_port=lambda *_: port), "/dev/x", 9600)


@pytest.mark.parametrize("death", DEATHS)
@pytest.mark.parametrize("point", ["fileno", "read"])
def test_every_death_while_reading_is_device_lost(point: str, death: Exception) -> None:
    link = link_to(Port(FakeClock(), b"x", point, death))
    with pytest.raises(DeviceLost, match="/dev/x is gone while reading"):
        link.receive(100)


@pytest.mark.parametrize("death", DEATHS)
def test_every_death_while_writing_or_closing(death: Exception) -> None:
    with pytest.raises(DeviceLost, match="/dev/x is gone while writing"):
        link_to(Port(FakeClock(), b"", "write", death)).send(b"x")
    dying = Port(FakeClock(), b"", "close", death)
    link_to(dying).close()
    assert dying.closed == 1


@pytest.mark.parametrize("death", DEATHS)
def test_every_failure_to_open_is_device_lost(death: Exception) -> None:
    def fail(*_: Any) -> Any:
        raise death

    with pytest.raises(DeviceLost, match="/dev/x does not open"):
        SerialLink(wiring(FakeClock(), open_port=fail), "/dev/x", 9600)


def test_a_port_that_is_not_there_says_so() -> None:
    with pytest.raises(DeviceLost, match=r"^/nowhere is not there: is it plugged in\?$"):
        SerialLink(wiring(FakeClock(), open_port=open_serial), "/nowhere", 9600)


@pytest.mark.parametrize(
    ("number", "why"),
    [
        (errno.EACCES, r"may not be opened by this user: sudo usermod -aG dialout \S+, then"),
        (errno.EAGAIN, "is in use by another program"),
        (errno.EBUSY, "is in use by another program"),
        (errno.ENOTTY, "is no serial port: name one of those under /dev/serial/by-path$"),
        (errno.EIO, "does not open: Input/output error$"),
    ],
)
def test_why_a_port_does_not_open_is_told_once(number: int, why: str) -> None:
    def fail(*_: Any) -> Any:
        raise serial.SerialException(number, f"could not open port /dev/x: [Errno {number}]")

    with pytest.raises(DeviceLost, match=f"^/dev/x {why}"):
        SerialLink(wiring(FakeClock(), open_port=fail), "/dev/x", 9600)


@pytest.mark.parametrize("path", ["/etc/hostname", "/etc"])
def test_what_is_no_serial_port_is_said_to_be_none(path: str) -> None:
    with pytest.raises(DeviceLost, match=f"^{path} is no serial port: name one"):
        SerialLink(wiring(FakeClock(), open_port=open_serial), path, 9600)


def numbers(data: bytes) -> tuple[int, int | None]:
    """Decode frames of '#' and a digit."""
    if data[:1] != b"#":
        return 1, None
    return (2, int(data[1:2])) if len(data) > 1 else (0, None)


def test_frames_come_in_order_and_next_is_the_newest() -> None:
    port = Port(FakeClock(), b"#1xx#2#")
    port.burst = 100
    reader = FrameReader(link_to(port), numbers)
    assert reader.frames(10) == [1, 2]
    port.data = b"3#4"
    assert reader.next(10) == 4


def test_ceaseless_garbage_ends_in_no_answer_on_time() -> None:
    port = Port(FakeClock(), b"x" * 10_000)
    with pytest.raises(NoAnswer, match="/dev/x sent nothing usable for 2 s"):
        FrameReader(link_to(port), numbers).next(2000)
    assert port.clock.now() == 2000


def test_what_came_instead_goes_with_the_error() -> None:
    with pytest.raises(NoAnswer) as raised:
        FrameReader(link_to(Port(FakeClock(), b"q" * 600 + b"end")), numbers).next(60_000)
    assert raised.value.said == b"q" * 509 + b"end"


def test_silence_ends_in_no_answer_on_time() -> None:
    port = Port(FakeClock())
    with pytest.raises(NoAnswer, match="/dev/x sent nothing for 2 s"):
        FrameReader(link_to(port), numbers).next(2000)
    assert port.clock.now() == 2000


def test_little_is_kept_of_a_frame_that_never_ends() -> None:
    reader = FrameReader(link_to(Port(FakeClock(), b"x" * 3000)), lambda data: (0, None))
    with pytest.raises(NoAnswer):
        reader.frames(2999)
    assert len(reader._held) == 512


def test_discard_takes_all_that_has_come() -> None:
    port = Port(FakeClock(), b"old")
    link_to(port).discard()
    assert port.data == b""


def test_discard_gives_up_on_a_port_that_never_stops() -> None:
    port = Port(FakeClock(), b"x" * 1000)
    link_to(port).discard()
    assert 0 < len(port.data) < 1000
