"""When the fan of a particle part is to be cleaned, and the option that says so.

The parts count to a week by themselves, but from power-up: one that is switched off weekly would
never be cleaned. Source: protocols.md section 4.
"""

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Interval

CLEANING_MS = 10_000
"""How long a cleaning takes, without a new value."""

_HOUR_MS = 3_600_000
_FIRST_MS = _HOUR_MS


@dataclass(frozen=True)
class CleaningOptions:
    """How often the fan is cleaned."""

    clean_every: Annotated[int, Interval(ge=0, le=8760)] = 168
    """Hours of running between two fan cleanings of 10 s, 0 to 8760; 0 leaves it to the part.
    The first comes after one hour."""


class Schedule:
    """The cleanings of one part, which outlast a restart of its port."""

    def __init__(self, every_hours: int) -> None:
        """Plan nothing before `begin`; `every_hours` 0 plans nothing at all."""
        self._every = every_hours * _HOUR_MS
        self._at: int | None = None

    def begin(self, now: int) -> None:
        """The part measures from `now` ms on; only the first call counts."""
        if self._at is None and self._every:
            self._at = now + _FIRST_MS

    def due(self, now: int) -> bool:
        """Tell whether to clean at `now` ms; True once for each time."""
        if self._at is None or now < self._at:
            return False
        self._at = now + self._every
        return True
