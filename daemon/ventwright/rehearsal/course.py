"""The true course of a rehearsal, with its extractor and without, and the figures it comes to."""

from array import array
from dataclasses import dataclass, field

from ventwright.rehearsal.world import Moment

_HOUR_S = 3600


def _floats() -> "array[float]":
    return array("d")


def _back(levels: "array[float]", end: int, clean: float) -> int | None:
    """Tell how long after second `end` the level stays below `clean` for good, s."""
    after = levels[end:]
    for second in range(len(after) - 1, -1, -1):
        if after[second] >= clean:
            return second + 1 if second + 1 < len(after) else None
    return 0 if after else None


def _worst_hour(levels: "array[float]") -> float | None:
    """Give the highest mean over an hour, or None if there was no hour."""
    if len(levels) < _HOUR_S:
        return None
    total = worst = sum(levels[:_HOUR_S])
    for new, old in zip(levels[_HOUR_S:], levels, strict=False):
        total += new - old
        worst = max(worst, total)
    return worst / _HOUR_S


@dataclass
class Course:
    """Second by second: PM2.5 in the room and in the room without extractor, µg/m³."""

    held: "array[float]" = field(default_factory=_floats)
    let_be: "array[float]" = field(default_factory=_floats)
    extraction: int = 0
    """Time that the extractor ran, s."""

    def add(self, moment: Moment) -> None:
        """Take a second."""
        self.held.append(moment.with_extraction)
        self.let_be.append(moment.without)
        self.extraction += moment.extracting

    def peaks(self) -> tuple[float, float]:
        """Give the highest PM2.5 with and without extraction, µg/m³."""
        return max(self.held, default=0.0), max(self.let_be, default=0.0)

    def worst_hours(self) -> tuple[float | None, float | None]:
        """Give the highest mean over an hour with and without extraction, µg/m³."""
        return _worst_hour(self.held), _worst_hour(self.let_be)

    def recoveries(self, end: int, clean: float) -> tuple[int | None, int | None]:
        """Tell how long after second `end` PM2.5 was below `clean` for good, with and without."""
        return _back(self.held, end, clean), _back(self.let_be, end, clean)
