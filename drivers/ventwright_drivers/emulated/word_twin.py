"""What emulated parts with word commands share: strict framing, busy times, one reply at a time."""

from abc import abstractmethod

from ventwright_drivers.checksums import crc8_word
from ventwright_drivers.emulated.twin import Air, I2CTwin, not_acknowledged
from ventwright_drivers.i2c.words import UNIT, pack


def scaled(value: float, low: float, span: float) -> int:
    """Write a value between `low` and `low + span` as a word, 0 to 65535, clamped."""
    return min(65535, max(0, round((value - low) * 65535 / span)))


class WordTwin(I2CTwin):
    """A part that takes commands, is deaf while it works, and gives each reply once."""

    def __init__(
        self, air: Air, address: int | None = None, *, powered_at: int = 0, power_up_ms: int = 0
    ) -> None:
        """Measure `air`; acknowledge nothing for `power_up_ms` from `powered_at` (ms) on."""
        self.air = air
        self.address = self.address if address is None else address
        self._busy_until = powered_at + power_up_ms
        self._reply = b""

    @abstractmethod
    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out a well-formed command; raises OSError where the part does not know it."""

    def split(self, data: bytes) -> tuple[int, bytes]:
        """Part a write into its command and what follows."""
        if len(data) < 2:
            raise not_acknowledged()
        return int.from_bytes(data[:2], "big"), data[2:]

    def work(self, now: int, ms: int, *reply: int) -> None:
        """Be deaf for `ms`, then have `reply` ready."""
        self._busy_until = now + ms
        self._reply = pack(*reply)

    def write(self, data: bytes, now: int) -> None:
        """Obey a command; raises OSError(EREMOTEIO) if busy, unknown, or a CRC is wrong."""
        code, rest = self.split(data)
        units = [rest[i : i + UNIT] for i in range(0, len(rest), UNIT)]
        wrong = any(len(u) != UNIT or crc8_word(u[:2]) != u[2] for u in units)
        if wrong or now < self._busy_until:
            raise not_acknowledged()
        self._reply = b""
        self.obey(code, tuple(int.from_bytes(u[:2], "big") for u in units), now)

    def read(self, size: int, now: int) -> bytes:
        """Give the reply and forget it; raises OSError(EREMOTEIO) if there is none yet."""
        if now < self._busy_until or not self._reply:
            raise not_acknowledged()
        reply, self._reply = self._reply, b""
        return reply[:size]
