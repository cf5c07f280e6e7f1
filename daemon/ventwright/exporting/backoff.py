"""How long to wait before trying again: doubling, or what the other side asked for."""

FIRST_MS = 1000
MOST_MS = 300_000
MOST_ASKED_MS = 600_000


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
