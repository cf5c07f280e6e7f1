"""A person's hours in the air of one channel: the pieces that exposure is worked out from."""

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from ventwright.averaging.course import Course
from ventwright.averaging.figures import COVERAGE
from ventwright.exposure.dose import Piece
from ventwright.means.minutes import MINUTE_MS
from ventwright.settings.hours import Span
from ventwright_drivers.quantities import Quantity

HOUR_MINUTES = 60


class Stay(NamedTuple):
    """Hours in the air of one channel."""

    channel: str
    quantity: Quantity
    pieces: tuple[Piece, ...]
    """Mean (the channel's unit) and hours; gaps in the readings are taken to be like the rest."""
    hours: float
    """Hours in the room."""
    coverage: float
    """The share of them that readings cover, 0..1."""
    worst: Callable[[int], float | None]
    """Gives the highest mean over so many minutes within the stay; None if there is none."""

    @property
    def known(self) -> bool:
        """Whether enough is known to say anything."""
        return bool(self.hours) and self.coverage >= COVERAGE

    @property
    def mean(self) -> float:
        """The mean while in the room, in the channel's unit."""
        return sum(value * hours for value, hours in self.pieces) / self.hours


def stay_in(course: Course, spans: Iterable[Span]) -> Stay:
    """Take the minutes of some spans (Unix ms) out of a course; what lies outside it is unknown."""
    numbers = [(course.number(begin), course.number(end)) for begin, end in spans]
    sums = [course.sums(*pair) for pair in numbers]
    hours = sum(last - first for first, last in numbers) / HOUR_MINUTES
    area, cover = (sum(column) for column in zip(*sums, strict=True)) if sums else (0.0, 0.0)
    pieces = ((area / cover, hours),) if cover else ()
    coverage = cover / (HOUR_MINUTES * hours) if hours else 0.0
    return Stay(course.channel, course.quantity, pieces, hours, coverage, _worst(course, numbers))


def _worst(course: Course, numbers: Sequence[tuple[int, int]]) -> Callable[[int], float | None]:
    def highest(minutes: int) -> float | None:
        found = [course.worst(minutes, *pair) for pair in numbers]
        return max((one.value for one in found if one), default=None)

    return highest


def stay_by_hand(quantity: Quantity, pieces: Sequence[Piece]) -> Stay:
    """Make a stay of concentrations (the quantity's unit) and hours that somebody names.

    The worst time of a length is the highest concentration that lasted as long.
    """

    def highest(minutes: int) -> float | None:
        return max((c for c, hours in pieces if hours * HOUR_MINUTES >= minutes), default=None)

    hours = sum(hours for _, hours in pieces)
    return Stay("by hand", quantity, tuple(pieces), hours, 1.0, highest)


def length_of(spans: Iterable[Span]) -> float:
    """Give the length of some spans in hours."""
    return sum(end - begin for begin, end in spans) / (HOUR_MINUTES * MINUTE_MS)
