"""Test a driver by pairs of bytes: what it must send, and what the part answers.

    with byte_pairs(Pms5003, [(ACTIVE, ACK), (None, FRAME)], port="/dev/x") as part:
        part.start()
        assert part.read() == ...

`None` in place of bytes to send means that the part speaks by itself. A wrong byte fails at
once; a pair not used, a request half sent, or an answer not read fails at the end.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from fakes import FakeClock, wiring


def _bytes(text: bytes | str | None) -> bytes:
    return bytes.fromhex(text) if isinstance(text, str) else text or b""


class PairPort:
    """A fake port that plays pairs."""

    def __init__(self, clock: FakeClock, pairs: Sequence[tuple[Any, Any]]) -> None:
        self._pairs = deque((_bytes(sent), _bytes(answer)) for sent, answer in pairs)
        self._partly = b""
        self._held = b""
        self._fd = clock.watch(self)

    def write(self, data: bytes, /) -> int:
        self._play_spoken()
        self._partly += data
        while self._partly:
            expected = self._pairs[0][0] if self._pairs else b""
            head = self._partly[: len(expected)]
            assert expected, f"sent {self._partly.hex(' ')} when nothing was expected"
            assert expected.startswith(head), f"sent {head.hex(' ')}, not {expected.hex(' ')}"
            if head != expected:
                break
            self._held += self._pairs.popleft()[1]
            self._partly = self._partly[len(expected) :]
        return len(data)

    def _play_spoken(self) -> None:
        while self._pairs and not self._pairs[0][0]:
            self._held += self._pairs.popleft()[1]

    def ready(self) -> bool:
        self._play_spoken()
        return bool(self._held)

    def due(self) -> int | None:
        return None

    def fileno(self) -> int:
        return self._fd

    @property
    def in_waiting(self) -> int:
        return len(self._held)

    def read(self, size: int) -> bytes:
        taken, self._held = self._held[:size], self._held[size:]
        return taken

    def close(self) -> None:
        """Keep what is left, for `finish` to find."""

    def finish(self) -> None:
        assert not self._partly, f"half a request was sent: {self._partly.hex(' ')}"
        assert not self._pairs, f"never used: {[(a.hex(' '), b.hex(' ')) for a, b in self._pairs]}"
        assert not self._held, f"never read: {self._held.hex(' ')}"


@contextmanager
def byte_pairs(
    driver: type[Any], pairs: Sequence[tuple[Any, Any]], **options: Any
) -> Iterator[Any]:
    """Give a driver, not yet started, whose port plays `pairs` (bytes or hex) on a fake clock."""
    clock = FakeClock()
    port = PairPort(clock, pairs)
    device = driver(
        driver.Options(**{"port": "/dev/pairs", **options}),
        wiring(clock, open_port=lambda *_: port),
    )
    yield device
    device.close()
    port.finish()
