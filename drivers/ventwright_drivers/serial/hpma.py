"""HPMA115S0 and HPMA115C0: laser particle sensors that answer short commands.

After power-up they send by themselves, in a frame that looks like other parts' and is laid out
differently; so every start first stops that. Source: protocols.md section 6.
"""

from contextlib import suppress
from typing import ClassVar, NamedTuple

from ventwright_drivers.checksums import sum8, sum16
from ventwright_drivers.errors import NoAnswer, Refused
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.resting import RestingPart

_REQUEST, _ANSWER = 0x68, 0x40
_READ, _START, _STOP, _STOP_SENDING = 0x04, 0x01, 0x02, 0x20
_AUTO = b"\x42\x4d\x00\x1c"
_AUTO_SIZE = 32
_ACK, _NACK = b"\xa5\xa5", b"\x96\x96"
_ANSWER_LENGTHS = (2, 5, 13)
_HEADS = frozenset((_ANSWER, _AUTO[0], _ACK[0], _NACK[0]))
_TRIES = 3
_REPLY_MS = 500


class Reply(NamedTuple):
    """What the part said: an acknowledgement (`good` or not) or the body of an answer."""

    good: bool
    body: bytes = b""


def _negated(frame: bytes) -> int:
    return -sum8(frame) & 0xFF


def request(code: int, *values: int) -> bytes:
    """Build a command from its code and its bytes, 0 to 255 each."""
    frame = bytes((_REQUEST, 1 + len(values), code, *values))
    return bytes((*frame, _negated(frame)))


def _acknowledged(data: bytes) -> tuple[int, Reply | None]:
    if len(data) < 2:
        return 0, None
    if data[1] != data[0]:
        return 1, None
    return 2, Reply(data[:2] == _ACK)


def _answered(data: bytes) -> tuple[int, Reply | None]:
    if len(data) > 1 and data[1] not in _ANSWER_LENGTHS:
        return 1, None
    if len(data) < 2 or len(data) < data[1] + 3:
        return 0, None
    size = data[1] + 3
    if data[size - 1] != _negated(data[: size - 1]):
        return 1, None
    return size, Reply(True, data[2 : size - 1])


def _sent_unasked(data: bytes) -> tuple[int, None]:
    if not _AUTO.startswith(data[:4]):
        return 1, None
    if len(data) < _AUTO_SIZE:
        return 0, None
    total = int.from_bytes(data[_AUTO_SIZE - 2 : _AUTO_SIZE], "big")
    return (_AUTO_SIZE if sum16(data[: _AUTO_SIZE - 2]) == total else 1), None


def decode(data: bytes) -> tuple[int, Reply | None]:
    """Decode the first reply; what the part sends by itself is passed over. Never raises."""
    if not data or data[0] not in _HEADS:
        at = next((i for i, byte in enumerate(data) if byte in _HEADS), len(data))
        return at, None
    if data[0] == _ANSWER:
        return _answered(data)
    return _sent_unasked(data) if data[0] == _AUTO[0] else _acknowledged(data)


class _Hpma(RestingPart[Reply]):
    length: ClassVar[int]
    """Bytes of the body of a measurement."""

    silence_ms = 10_000
    warm_up_ms = 10_000  # response under 6 s; the rest for the fan is from memory
    optical_mass = True
    laser_hours = 20_000  # of the older issue, the newer says ten years (from memory)

    def decode(self, data: bytes) -> tuple[int, Reply | None]:
        """Decode replies of either model."""
        return decode(data)

    def prepare(self) -> None:
        """Have the part stop sending by itself and start fan and laser; raises as `sample`."""
        self._order(_STOP_SENDING)
        self.link.discard()
        self._reader = None  # forget what is left of a frame that will never be whole
        self._order(_START)

    def sleep(self) -> None:
        """Stop fan and laser; raises as `sample`."""
        self._order(_STOP)

    def wake(self) -> None:
        """Start fan and laser; raises as `sample`."""
        self._order(_START)

    def sample(self) -> Sample:
        """Ask for a measurement, 0 to 1000 µg/m³; raises NoAnswer, Refused, DeviceLost."""
        body = self._order(_READ).body
        if len(body) != self.length or body[0] != _READ:
            raise Refused(f"{self.place} answers as another model than {self.model}")
        words = (int.from_bytes(body[i : i + 2], "big") for i in range(1, self.length, 2))
        return Sample(tuple(map(float, words))[: len(self.quantities)])

    def _order(self, code: int) -> Reply:
        for _ in range(_TRIES - 1):
            with suppress(NoAnswer):
                return self._once(code)
        return self._once(code)

    def _once(self, code: int) -> Reply:
        self.link.send(request(code))
        until = self.clock.now() + _REPLY_MS
        while True:
            replies = self.reader.frames(max(0, until - self.clock.now()))
            if not all(reply.good for reply in replies):
                raise Refused(f"{self.place} refused command {code:02X}")
            fitting = [reply for reply in replies if bool(reply.body) == (code == _READ)]
            if fitting:
                return fitting[-1]


class Hpma115S0(_Hpma):
    """Measures PM2.5 and PM10, 0 to 1000 µg/m³, ±15 % (±15 µg/m³ below 100, from memory)."""

    model = "hpma115s0"
    quantities = ("pm2_5", "pm10")
    length = 5


class Hpma115C0(_Hpma):
    """Measures PM1, PM2.5, PM4 and PM10, 0 to 1000 µg/m³, ±15 %."""

    model = "hpma115c0"
    quantities = ("pm1", "pm2_5", "pm4", "pm10")
    length = 13
