"""The emulated A0 relay board. Source: protocols.md section 10."""

from ventwright_drivers.emulated.twin import SerialTwin

_OFF, _ON, _OFF_ANSWER, _ON_ANSWER, _TOGGLE, _QUERY = range(6)


class A0Twin(SerialTwin):
    """A board with open contacts after power-up, no watchdog, and often no voice."""

    models = ("relay-a0",)

    def __init__(self, channels: int = 8, answers: bool = False, gap_ms: int = 50) -> None:
        """Power up; a frame that ends within `gap_ms` of the last one is missed (from memory).

        Operation 06 is known from one doubtful listing and is ignored.
        """
        self.contacts = [False] * channels
        self.history: list[tuple[int, int, bool]] = []
        """Every change: time (ms), channel from 1, state."""
        self._answers = answers
        self._gap_ms = gap_ms
        self._free_at = 0
        self._heard = b""
        self._out = b""

    def due(self) -> int | None:
        """Tell 0 while an answer waits, else None."""
        return 0 if self._out else None

    def emit(self, now: int) -> bytes:  # noqa: ARG002 - answers are due at once
        """Give the answers."""
        out, self._out = self._out, b""
        return out

    def receive(self, data: bytes, now: int) -> None:
        """Obey whole frames with a right sum; pass over all else."""
        self._heard += data
        while len(self._heard) >= 4:
            head, channel, operation, total = self._heard[:4]
            valid = head == 0xA0 and total == (head + channel + operation) & 0xFF
            self._heard = self._heard[4 if valid else 1 :]
            if valid and now >= self._free_at:
                self._free_at = now + self._gap_ms
                self._obey(channel, operation, now)

    def _obey(self, channel: int, operation: int, now: int) -> None:
        if not 1 <= channel <= len(self.contacts) or operation > _QUERY:
            return
        if operation == _TOGGLE:
            self._switch(channel, not self.contacts[channel - 1], now)
        elif operation != _QUERY:
            self._switch(channel, operation in (_ON, _ON_ANSWER), now)
        if self._answers and operation >= _OFF_ANSWER:
            state = int(self.contacts[channel - 1])
            self._out += bytes((0xA0, channel, state, (0xA0 + channel + state) & 0xFF))

    def _switch(self, channel: int, on: bool, now: int) -> None:
        if self.contacts[channel - 1] is not on:
            self.contacts[channel - 1] = on
            self.history.append((now, channel, on))
