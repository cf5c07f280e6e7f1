"""What emulated parts share that both answer requests and, some of them, speak unasked."""

from abc import abstractmethod
from typing import ClassVar

from ventwright_drivers.emulated.twin import Air, SerialTwin


class TalkingTwin(SerialTwin):
    """A part that hears requests, answers a little later, and may speak once a period."""

    period_ms: ClassVar[int] = 1000

    def __init__(self, air: Air, reply_ms: int = 20) -> None:
        """Power up with the first call that tells the time; answer after `reply_ms`."""
        self.air = air
        self.speaks = False
        """Whether the part sends by itself at present."""
        self.born: int | None = None
        """When it was powered up, ms."""
        self._reply_ms = reply_ms
        self._heard = b""
        self._replies: list[tuple[int, bytes]] = []
        self._next = 0

    @abstractmethod
    def hear(self, data: bytes, now: int) -> int:
        """Obey what `data` begins with: the bytes used, 0 if a request is not yet whole."""

    def unasked(self, now: int) -> bytes:
        """Make what the part sends by itself."""
        raise NotImplementedError

    def reply(self, frame: bytes, now: int) -> None:
        """Send a frame soon."""
        self._replies.append((now + self._reply_ms, frame))

    def due(self) -> int | None:
        """Tell when something comes next; 0 at first, for the twin learns the time by `emit`."""
        if self.born is None:
            return 0
        times = [at for at, _ in self._replies] + [self._next] * self.speaks
        return min(times, default=None)

    def emit(self, now: int) -> bytes:
        """Give replies that are due, and one unasked frame a period."""
        self._power_up(now)
        out = b"".join(frame for at, frame in self._replies if at <= now)
        self._replies = [(at, frame) for at, frame in self._replies if at > now]
        if now >= self._next:
            self._next = max(self._next, now - self.period_ms + 1) + self.period_ms
            out += self.unasked(now) if self.speaks else b""
        return out

    def receive(self, data: bytes, now: int) -> None:
        """Hear requests, however they are cut."""
        self._power_up(now)
        self._heard += data
        while self._heard and (used := self.hear(self._heard, now)):
            self._heard = self._heard[used:]

    def _power_up(self, now: int) -> None:
        if self.born is None:
            self.born = now
            self._next = now + self.period_ms


def word(value: float) -> bytes:
    """Write a value as two bytes, high first, rounded and clamped to 0 to 65535."""
    return min(max(round(value), 0), 0xFFFF).to_bytes(2, "big")
