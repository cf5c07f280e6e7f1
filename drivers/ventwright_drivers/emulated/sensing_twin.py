"""What the emulated all-in-one parts share: idle or measuring, ready once a period, a status.

Source: protocols.md sections 5, 16 and 17.
"""

from abc import abstractmethod
from typing import ClassVar

from ventwright_drivers.emulated.twin import not_acknowledged
from ventwright_drivers.emulated.word_twin import WordTwin

START, STOP, READY, CLEAN = 0x0021, 0x0104, 0x0202, 0x5607
STATUS, CLEAR_STATUS, RESET = 0xD206, 0xD210, 0xD304
SERIAL, VERSION = 0xD033, 0xD100
_CLEANING_MS = 10_000
_PERIOD_MS = 1000


def text(value: str, words: int) -> tuple[int, ...]:
    """Write ASCII, two characters a word, filled up with NUL."""
    raw = value.encode().ljust(2 * words, b"\0")
    return tuple(int.from_bytes(raw[i : i + 2], "big") for i in range(0, 2 * words, 2))


class SensingTwin(WordTwin):
    """A part that measures once a second from start to stop."""

    read_code: ClassVar[int]
    stop_ms: ClassVar[int]
    start_ms: ClassVar[int] = 50
    first_ms: ClassVar[int] = 1000
    reset_ms: ClassVar[int] = 100
    cleans_while_measuring: ClassVar[bool] = True

    status = 0
    """The status register, 32 bits; what a test or rehearsal sets stays until cleared."""

    started: int | None = None
    """When measuring began, ms; None while idle."""

    _next = 0

    @abstractmethod
    def taken(self, now: int) -> tuple[int, ...]:
        """Measure now: the words of a reply."""

    def begin(self, now: int) -> None:
        """Start measuring; raises OSError where that has happened already."""
        if self.started is not None:
            raise not_acknowledged()
        self.started, self._next = now, now + self.first_ms
        self.work(now, self.start_ms)

    def end(self, now: int, ms: int) -> None:
        """Go idle and be deaf for `ms`."""
        self.started = None
        self.work(now, ms)

    def obey(self, code: int, words: tuple[int, ...], now: int) -> None:
        """Carry out what all of them know; raises OSError for the rest."""
        answers = {STATUS: (self.status >> 16, self.status & 0xFFFF), VERSION: (0x0202,)}
        answers[SERIAL] = text("0123456789ABCDEF", 16)
        if words:
            raise not_acknowledged()
        if code in answers:
            self.work(now, 1, *answers[code])
        elif code in (STOP, RESET):
            self.end(now, self.stop_ms if code == STOP else self.reset_ms)
        elif code == CLEAR_STATUS:
            self.status = 0
        elif code == START:
            self.begin(now)
        else:
            self._sense(code, now)

    def _sense(self, code: int, now: int) -> None:
        measuring = self.started is not None
        if code == CLEAN and measuring == self.cleans_while_measuring:
            self._clean(now)
        elif code == READY and measuring:
            self.work(now, 1, int(now >= self._next))
        elif code == self.read_code and measuring:
            self._next = max(self._next, now - (now - self._next) % _PERIOD_MS + _PERIOD_MS)
            self.work(now, 1, *self.taken(now))
        else:
            raise not_acknowledged()

    def _clean(self, now: int) -> None:
        if self.cleans_while_measuring:
            self._next = now + _CLEANING_MS
        else:
            self.work(now, _CLEANING_MS)
