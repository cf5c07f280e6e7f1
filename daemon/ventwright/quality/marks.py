"""The marks that every reading carries: good, or why it cannot be judged."""

from enum import IntEnum


class Quality(IntEnum):
    """Whether a reading can be judged; the numbers are in every store and never change."""

    GOOD = 0
    WARMING_UP = 1
    STALE = 2
    OUT_OF_RANGE = 3
    STUCK = 4
    INCONSISTENT = 5
    FAILED = 6
    HUMID = 7
    INCONSISTENT_PARTS = 8
    """Good by itself, but another part that measures the same air disagrees: the higher counts."""

    @property
    def words(self) -> str:
        """The mark in words."""
        return self.name.lower().replace("_", " ")
