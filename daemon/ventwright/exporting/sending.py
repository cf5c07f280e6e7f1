"""Sends the lines of one batch, and tells lines that are at fault from a database that is.

A line that alone is refused is set aside by itself. But an answer of 400 to everything is about
the request or the database, as of a wrong version or a proxy, not about any line.
"""

from collections.abc import Callable

from ventwright.exporting.errors import Refused, Unavailable

_SUSPICIOUS = 10
"""Single lines refused with 400 while none is accepted, before others of the batch are tried."""

_BAD_REQUEST = 400


class Sending:
    """One batch on its way."""

    def __init__(
        self, lines: list[bytes], size: int, write: Callable[[bytes], None], trusted: bool
    ) -> None:
        """Send by `write` at most `size` lines at once; `trusted` if it ever took a line."""
        self._lines, self._size, self._write, self._trusted = lines, size, write, trusted
        self._refused: list[tuple[int, str]] = []
        self._bad = 0
        self.took = False
        """Whether the database has accepted anything of this batch."""

    def run(self, stopped: Callable[[], bool]) -> list[tuple[int, str]]:
        """Write all, halving what is refused; return each refused line's place and the reason.

        Raises Unavailable, also where it is the database that is at fault, or `stopped()`.
        """
        size, count = self._size, len(self._lines)
        spans = [(a, min(a + size, count)) for a in range(0, count, size)][::-1]
        while spans:
            first, end = spans.pop()
            error = self._try(first, end)
            if error and end - first == 1:
                self._set_aside(first, error)
            elif error:
                middle = (first + end) // 2
                spans += [(middle, end), (first, middle)]
                if stopped():
                    raise Unavailable("stopping")
        if self._bad and self._bad == count and not (self.took or self._trusted):
            raise Unavailable(self._refused[-1][1])
        return self._refused

    def _try(self, first: int, end: int) -> Refused | None:
        try:
            self._write(b"\n".join(self._lines[first:end]))
        except Refused as error:
            return error
        self.took = True
        return None

    def _set_aside(self, place: int, error: Refused) -> None:
        self._refused.append((place, str(error)))
        self._bad += error.status == _BAD_REQUEST
        if self._bad == _SUSPICIOUS and not self.took:
            self._probe(error)

    def _probe(self, error: Refused) -> None:
        """Try single lines from all over the batch; raises Unavailable if none is accepted."""
        count = len(self._lines)
        known = {place for place, _ in self._refused}
        spread = {count * n // _SUSPICIOUS + count // (2 * _SUSPICIOUS) for n in range(_SUSPICIOUS)}
        for place in sorted(spread - known):
            if self._try(place, place + 1) is None:
                return
        raise Unavailable(str(error))
