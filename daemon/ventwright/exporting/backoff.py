"""How long to wait before trying again: doubling, or what the other side asked for."""

from collections.abc import Mapping
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

FIRST_MS = 1000
MOST_MS = 300_000
MOST_ASKED_MS = 600_000


def asked_ms(headers: Mapping[str, str]) -> int:
    """Read how long an answer asks to wait, ms: seconds or a date, RFC 9110, 10.2.3; else 0.

    A date is held against the answer's own `Date`, for a clock of ours may be wrong.
    """
    asked = headers.get("Retry-After", "").strip()
    if asked.isascii() and asked.isdecimal():
        return 1000 * int(asked[:9])
    try:
        seconds = (_instant(asked) - _instant(headers.get("Date", ""))).total_seconds()
    except ValueError:
        return 0
    return max(0, round(1000 * seconds))


def _instant(text: str) -> datetime:
    """Read a date of HTTP, which is in UTC where it does not say so; raises ValueError."""
    found = parsedate_to_datetime(text)
    return found if found.tzinfo else found.replace(tzinfo=UTC)


class Backoff:
    """Counts failures in a row and says how long to wait after each, in ms."""

    def __init__(self, first: int = FIRST_MS, most: int = MOST_MS) -> None:
        """Start with a wait of `first` ms, doubling up to `most` ms."""
        self._first, self._most = first, most
        self._next = first

    def failed(self, asked: int = 0) -> int:
        """Return the wait, ms: our own or, if longer, the `asked` one up to ten minutes."""
        own, self._next = self._next, min(2 * self._next, self._most)
        return max(own, min(asked, MOST_ASKED_MS))

    def worked(self) -> None:
        """Begin again with the shortest wait."""
        self._next = self._first
