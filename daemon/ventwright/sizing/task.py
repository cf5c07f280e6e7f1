"""What is to be sized: a room, what is emitted into it, a limit, and what takes the air away.

Plain data in one set of units: m³, h, and amounts whose unit the emission brings (µg or particles).
It must not know where the figures came from; `source` only says it.
"""

from typing import NamedTuple

from ventwright.mixing.filters import delivered


class Range(NamedTuple):
    """A figure that lies between two."""

    low: float
    high: float

    def times(self, factor: float) -> "Range":
        """Multiply both ends by a factor, at least 0."""
        return Range(self.low * factor, self.high * factor)


class Task(NamedTuple):
    """A room to be sized."""

    volume: float
    """m³"""
    loss_rate: float
    """What the room loses without any extraction, 1/h."""
    emission: Range
    """Amount an hour while it prints, of one printer."""
    unit: str
    """Of amounts: µg, or 1 for particles by number."""
    limit: float | None = None
    """Rise that is not to be exceeded: amount per m³."""
    hours: float = 1.0
    """How long a print takes."""
    printers: int = 1
    captured: float = 0.0
    """The share of the emission that an enclosure's exhaust takes before it gets into the room."""
    exhaust: float = 0.0
    """Air taken to the outside, m³/h."""
    filter_flow: float = 0.0
    """Air through a recirculating filter, m³/h."""
    single_pass: float = 0.0
    """What the filter takes out of it in one pass, 0 to 1."""
    mixing: float = 1.0
    """Mixing factor: by what a poorly mixed room is worse than a well-mixed one."""

    @property
    def into_room(self) -> Range:
        """What gets into the room, amount an hour, all printers together."""
        return self.emission.times(self.printers * (1 - self.captured))

    @property
    def clean_air(self) -> float:
        """What extraction and filter deliver together, m³/h."""
        return self.exhaust + delivered(self.filter_flow, self.single_pass)

    @property
    def total_rate(self) -> float:
        """All losses together, 1/h."""
        return self.loss_rate + self.clean_air / self.volume

    def still(self) -> "Task":
        """Give the same room without extraction and filter."""
        return self._replace(exhaust=0.0, filter_flow=0.0, captured=0.0)
