"""The laser dust sensor that sends AA C0 frames once a second and obeys AA B4 commands.

Source: protocols.md section 3, confirmed there except where a line here says "from memory".
"""

from contextlib import suppress
from typing import NamedTuple

from ventwright_drivers.checksums import sum8
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.resting import RestingPart

_HEAD, _TAIL = 0xAA, 0xAB
_MEASURED, _SETTING = 0xC0, 0xC5
_SIZE = 10
_REPLY_MS = 1000  # a reply is up to 1 s late
_REPORTING, _WORK, _PERIOD = 0x02, 0x06, 0x08


class Reply(NamedTuple):
    """A C5 frame: the command's number, and the three bytes that follow it."""

    command: int
    values: bytes


def command(number: int, *values: int, device: int = 0xFFFF) -> bytes:
    """Build a 19-byte command for a device id (0 to 65535; 65535 = any)."""
    body = bytes((number, *values)).ljust(13, b"\0") + device.to_bytes(2, "big")
    return bytes((_HEAD, 0xB4, *body, sum8(body), _TAIL))


def _content(frame: bytes) -> Sample | Reply:
    if frame[1] == _SETTING:
        return Reply(frame[2], frame[3:6])
    fine, coarse = (int.from_bytes(frame[i : i + 2], "little") / 10 for i in (2, 4))
    return Sample((fine, coarse))


def decode(data: bytes) -> tuple[int, Sample | Reply | None]:
    """Decode the first frame: PM2.5 and PM10, 0 to 999.9 µg/m³, or the reply to a command.

    Never raises.
    """
    if data[:1] != b"\xaa" or (len(data) > 1 and data[1] not in (_MEASURED, _SETTING)):
        at = data.find(b"\xaa", 1)
        return (len(data) if at < 0 else at), None
    if len(data) < _SIZE:
        return 0, None
    if data[9] != _TAIL or data[8] != sum8(data[2:8]):
        return 1, None
    return _SIZE, _content(data[:_SIZE])


class Sds011(RestingPart[Sample | Reply]):
    """Measures PM2.5 and PM10, 0 to 999.9 µg/m³, once a second while it works.

    A working period of n minutes is kept by the part itself: it then works for 30 s and is
    silent for n·60−30 s. `start` asks for it, and `silence_ms` follows. With `rest` the working
    period is set to none, for it leaves no time to warm up in.
    """

    model = "sds011"
    quantities = ("pm2_5", "pm10")
    silence_ms = 10_000
    warm_up_ms = 30_000  # 15 to 30 s after work; 30 s from memory
    paced_by_part = True
    optical_mass = True
    laser_hours = 8000
    _fresh: Sample | None = None
    _working_ms = 0

    def decode(self, data: bytes) -> tuple[int, Sample | Reply | None]:
        """Decode measurements and replies alike, for they interleave."""
        return decode(data)

    def prepare(self) -> None:
        """Wake the part, have it report by itself, ask its working period; mute is no error."""
        self._fresh = None
        period = command(_PERIOD, 1, 0) if self.rest_ms else command(_PERIOD)
        for request in (command(_WORK, 1, 1), command(_REPORTING, 1, 0), period):
            self._order(request)

    def sleep(self) -> None:
        """Stop fan and laser; mute is no error; raises DeviceLost."""
        self._order(command(_WORK, 1, 0))
        self._fresh = None

    def wake(self) -> None:
        """Start fan and laser; mute is no error; raises DeviceLost."""
        self._order(command(_WORK, 1, 1))

    def _order(self, request: bytes) -> None:
        self.link.send(request)
        with suppress(NoAnswer):
            self._await(request[2])

    def sample(self) -> Sample:
        """Wait for the newest measurement; raises NoAnswer, DeviceLost."""
        until = self.clock.now() + self.mute_ms + self._working_ms
        while self._fresh is None:
            self._take(until)
        fresh, self._fresh = self._fresh, None
        return fresh

    def close(self) -> None:
        """Close the port."""
        super().close()
        self._fresh = None

    def _await(self, number: int) -> None:
        until = self.clock.now() + _REPLY_MS
        while number not in self._take(until):
            pass

    def _take(self, until: int) -> set[int]:
        answered = set()
        for frame in self.reader.frames(max(0, until - self.clock.now())):
            if isinstance(frame, Sample):
                self._fresh = frame
            else:
                answered.add(frame.command)
                self._note(frame)
        return answered

    def _note(self, reply: Reply) -> None:
        if reply.command == _PERIOD:
            self._working_ms = 60_000 * reply.values[1]
            silence = self.mute_ms + self._working_ms + self.rest_ms
            self.silence_ms = silence  # type: ignore[misc]  # of this one part
