"""Emulated HPMA sensors: speaking after power-up, acknowledging, refusing what they do not know.

Source: protocols.md section 6. That measuring is refused while the fan stands is from memory.
"""

from ventwright_drivers.emulated.talking import TalkingTwin, word
from ventwright_drivers.emulated.twin import Air

_START, _STOP, _READ, _COEFFICIENT, _ASK_COEFFICIENT = 0x01, 0x02, 0x04, 0x08, 0x10
_QUIET, _SPEAK = 0x20, 0x40
_ACK, _NACK = b"\xa5\xa5", b"\x96\x96"
_KNOWN = (_START, _STOP, _READ, _COEFFICIENT, _ASK_COEFFICIENT, _QUIET, _SPEAK)


def framed(head: int, body: bytes) -> bytes:
    """Put head and length before a body and the negated sum behind it."""
    frame = bytes((head, len(body))) + body
    return frame + bytes(((65_536 - sum(frame)) % 256,))


class _HpmaTwin(TalkingTwin):
    names: tuple[str, ...]

    def __init__(self, air: Air, reply_ms: int = 20) -> None:
        """Power up: fan on, speaking once a second."""
        super().__init__(air, reply_ms)
        self.speaks = True
        self.running = True
        self.coefficient = 100

    def hear(self, data: bytes, now: int) -> int:
        """Obey whole commands with a right sum; refuse the others with a NACK."""
        if data[0] != 0x68:
            return 1
        if len(data) < 2 or len(data) < data[1] + 3:
            return 0
        size = data[1] + 3
        right = data[1] and framed(0x68, data[2 : size - 1]) == data[:size]
        if not right or data[2] not in _KNOWN:
            self.reply(_NACK, now)
            return size if right else 1
        self._obey(data[2], data[3 : size - 1], now)
        return size

    def _obey(self, code: int, values: bytes, now: int) -> None:
        if code == _READ:
            measured = framed(0x40, bytes((_READ,)) + self.measured())
            self.reply(measured if self.running else _NACK, now)
        elif code == _ASK_COEFFICIENT:
            self.reply(framed(0x40, bytes((code, self.coefficient))), now)
        elif code == _COEFFICIENT:
            self._adjust(values, now)
        else:
            self.running = self.running if code in (_QUIET, _SPEAK) else code == _START
            self.speaks = self.speaks if code in (_START, _STOP) else code == _SPEAK
            self.reply(_ACK, now)

    def _adjust(self, values: bytes, now: int) -> None:
        good = len(values) == 1 and 30 <= values[0] <= 200
        self.coefficient = values[0] if good else self.coefficient
        self.reply(_ACK if good else _NACK, now)

    def measured(self) -> bytes:
        """Measure: a word a quantity."""
        return b"".join(word(self.air(name)) for name in self.names)

    def unasked(self, now: int) -> bytes:  # noqa: ARG002
        """Give the frame of 32 bytes that looks like other parts'."""
        if not self.running:
            return b""
        frame = b"\x42\x4d\x00\x1c" + self.laid_out().ljust(26, b"\0")
        return frame + (sum(frame) & 0xFFFF).to_bytes(2, "big")

    def laid_out(self) -> bytes:
        """Lay the measurement out for the unasked frame."""
        return self.measured()


class Hpma115S0Twin(_HpmaTwin):
    """An HPMA115S0: PM2.5 and PM10."""

    models = ("hpma115s0",)
    names = ("pm2_5", "pm10")

    def laid_out(self) -> bytes:
        """Leave the place of PM1 empty."""
        return bytes(2) + self.measured()


class Hpma115C0Twin(_HpmaTwin):
    """An HPMA115C0: four sizes, and reserved bytes behind them."""

    models = ("hpma115c0",)
    names = ("pm1", "pm2_5", "pm4", "pm10")

    def measured(self) -> bytes:
        """Measure: four words and four reserved bytes."""
        return super().measured() + bytes(4)
