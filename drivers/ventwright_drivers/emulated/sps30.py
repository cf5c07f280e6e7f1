"""Twin of the SPS30 on a serial port: stuffed frames, states that refuse, sleep, fan cleaning.

Source: protocols.md section 4.
"""

import struct

from ventwright_drivers.emulated.talking import TalkingTwin
from ventwright_drivers.emulated.twin import Air

_START, _STOP, _READ, _SLEEP, _WAKE, _CLEAN = 0x00, 0x01, 0x03, 0x10, 0x11, 0x56
_INTERVAL, _INFO, _VERSION, _STATUS, _RESET = 0x80, 0xD0, 0xD1, 0xD2, 0xD3
_OK, _LENGTH, _UNKNOWN, _RANGE, _CHECKSUM, _NOT_NOW = 0x00, 0x01, 0x02, 0x04, 0x05, 0x43
_WAKE_WINDOW_MS = 100
_CLEANING_MS = 10_000
_PERIOD_MS = 1000
_TYPICAL_UM = 0.5
_FORMS = {b"\x01\x03": "f", b"\x01\x05": "H"}
_SIZES: dict[int, tuple[int, ...]] = {
    **dict.fromkeys((_STOP, _READ, _SLEEP, _WAKE, _CLEAN, _VERSION, _RESET), (0,)),
    **dict.fromkeys((_INFO, _STATUS), (1,)),
    _START: (2,),
    _INTERVAL: (1, 5),
}
"""Bytes that may follow each command."""

_MEASURING, _IDLE = (_READ, _CLEAN), (_START, _SLEEP)


class _Refusal(Exception):
    def __init__(self, state: int) -> None:
        self.state = state


def stuffed(content: bytes) -> bytes:
    """Put the inverted sum behind a content, stuff both, and put flags around them."""
    whole = content + bytes(((sum(content) & 0xFF) ^ 0xFF,))
    for byte in (0x7D, 0x7E, 0x11, 0x13):  # 7D first, or it would stuff its own work
        whole = whole.replace(bytes((byte,)), bytes((0x7D, byte ^ 0x20)))
    return b"\x7e" + whole + b"\x7e"


def _unstuffed(inner: bytes) -> bytes:
    for byte in (0x7E, 0x11, 0x13, 0x7D):
        inner = inner.replace(bytes((0x7D, byte ^ 0x20)), bytes((byte,)))
    return inner


class Sps30Twin(TalkingTwin):
    """An SPS30 with its SEL pin open, firmware 2.2."""

    models = ("sps30",)

    def __init__(self, air: Air, reply_ms: int = 20, asleep: bool = False) -> None:
        """Power up idle, or asleep."""
        super().__init__(air, reply_ms)
        self.asleep = asleep
        self.status = 0
        """The status register, 32 bits; what is set stays until cleared."""
        self.interval_s = 604_800
        self.cleanings: list[int] = []
        """When it was told to clean its fan, ms."""
        self._form = ""
        self._ready_at = 0
        self._stirred_until = -1

    def hear(self, data: bytes, now: int) -> int:
        """Take what is between two flags; any byte stirs a sleeping part for 100 ms."""
        if self.asleep and now > self._stirred_until:
            self._stirred_until = now + _WAKE_WINDOW_MS
            return len(data) if data[0] == 0x7E else 1
        if data[0] != 0x7E:
            return 1
        end = data.find(b"\x7e", 1)
        if end == 1:
            return 1
        if end > 0:
            self._frame(_unstuffed(data[1:end]), now)
        return end + 1

    def _frame(self, content: bytes, now: int) -> None:
        if len(content) < 4 or content[0] or (self.asleep and content[1] != _WAKE):
            return
        right = sum(content) & 0xFF == 0xFF
        state, data = self._tried(content, now) if right else (_CHECKSUM, b"")
        error = 0x80 if self.status else 0
        self.reply(stuffed(bytes((0, content[1], state | error, len(data))) + data), now)

    def _tried(self, content: bytes, now: int) -> tuple[int, bytes]:
        try:
            return _OK, self._obey(content[1], content[2], content[3:-1], now)
        except _Refusal as refusal:
            return refusal.state, b""

    def _obey(self, command: int, length: int, data: bytes, now: int) -> bytes:
        if command not in _SIZES:
            raise _Refusal(_UNKNOWN)
        if length != len(data) or length not in _SIZES[command]:
            raise _Refusal(_LENGTH)
        if command in (_IDLE if self._form else _MEASURING) or (
            command == _WAKE and not self.asleep
        ):
            raise _Refusal(_NOT_NOW)
        answers = {_READ: self._measured, _STATUS: self._told, _INTERVAL: self._kept}
        if command in answers:
            return answers[command](data, now)
        if command == _INFO:
            return self._info(data)
        if command == _VERSION:
            return bytes((2, 2, 0, 7, 0, 2, 0))
        self._change(command, data, now)
        return b""

    def _change(self, command: int, data: bytes, now: int) -> None:
        if command == _START:
            if data not in _FORMS:
                raise _Refusal(_RANGE)
            self._form, self._ready_at = _FORMS[data], now + _PERIOD_MS
        elif command == _CLEAN:
            self.cleanings.append(now)
            self._ready_at = now + _CLEANING_MS
        elif command in (_STOP, _RESET):
            self._form = ""
        else:
            self.asleep = command == _SLEEP

    def _info(self, data: bytes) -> bytes:
        if data not in (b"\0", b"\3"):
            raise _Refusal(_RANGE)
        return b"00080000\0" if data == b"\0" else b"0123456789ABCDEF\0"

    def _told(self, data: bytes, now: int) -> bytes:  # noqa: ARG002
        told = self.status.to_bytes(4, "big") + b"\0"
        self.status = 0 if data == b"\1" else self.status
        return told

    def _kept(self, data: bytes, now: int) -> bytes:  # noqa: ARG002
        if len(data) == 1:
            return self.interval_s.to_bytes(4, "big")
        self.interval_s = int.from_bytes(data[1:], "big")
        return b""

    def _measured(self, data: bytes, now: int) -> bytes:  # noqa: ARG002
        if now < self._ready_at:
            return b""
        self._ready_at = now - (now - self._ready_at) % _PERIOD_MS + _PERIOD_MS
        mass = [self.air(name) for name in ("pm1", "pm2_5", "pm4", "pm10")]
        above = [self.air(name) for name in ("n0_5", "n1", "n2_5")]
        whole = self.air("n0_3")
        values = [*mass, *(whole - n for n in above), whole - above[-1] / 2, whole]
        if self._form == "f":
            return struct.pack(">10f", *values, _TYPICAL_UM)
        return struct.pack(">10H", *(min(65_535, round(v)) for v in (*values, 1000 * _TYPICAL_UM)))
