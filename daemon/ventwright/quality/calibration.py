"""Puts the values of a part right, channel by channel, with what a co-location run has shown.

The value that is judged and stored is slope x value + offset. Whether values contradict each
other is asked before, of what the part gave.
"""

from collections.abc import Mapping

from ventwright.settings.model import Calibration, PartEntry
from ventwright_drivers.quantities import QUANTITIES

Steps = tuple[int | None, ...]


class Calibrated:
    """The calibration of one part."""

    def __init__(self, kept: tuple[str, ...], calibration: Mapping[str, Calibration]) -> None:
        """Take the quantities of a part in their order, and the calibration of some of them."""
        self._moves = [
            _Move(place, name, calibration[name])
            for place, name in enumerate(kept)
            if name in calibration
        ]

    def __call__(self, steps: Steps) -> Steps:
        """Give the values put right, in whole steps; None and what cannot be true stay.

        Exact to half a step. A value that can be true stays one: a negative offset ends at the
        lowest value of the quantity, it never makes clean air an impossible reading.
        """
        if not self._moves:
            return steps
        changed = list(steps)
        for move in self._moves:
            changed[move.place] = move.put_right(changed[move.place])
        return tuple(changed)


class _Move:
    """One quantity."""

    def __init__(self, place: int, name: str, calibration: Calibration) -> None:
        quantity = QUANTITIES[name]
        self.place = place
        self._slope = calibration.slope
        self._offset = calibration.offset * quantity.per_unit
        self._low = round(quantity.lowest * quantity.per_unit)
        self._high = round(quantity.highest * quantity.per_unit)

    def put_right(self, step: int | None) -> int | None:
        if step is None or not self._low <= step <= self._high:
            return step
        return min(max(round(self._slope * step + self._offset), self._low), self._high)


class Moved:
    """Makes of steps that one calibration of a channel gave those that another would have given."""

    def __init__(self, channel: str, then: Calibration, now: Calibration) -> None:
        """Take the channel's name, the calibration that gave the steps, and the one that counts."""
        undone = Calibration(-then.offset / then.slope, 1 / then.slope)
        whole = after(undone, now)
        self._slope = whole.slope
        self._offset = whole.offset * QUANTITIES[channel.partition(".")[2]].per_unit

    def __call__(self, step: int) -> int:
        """Give a step as it would be now, to half a step."""
        return round(self._slope * step + self._offset)


def after(first: Calibration, second: Calibration) -> Calibration:
    """Give the one calibration that does what `first` and then `second` do."""
    return Calibration(second.slope * first.offset + second.offset, second.slope * first.slope)


def in_words(parts: Mapping[str, PartEntry]) -> dict[str, list[float]]:
    """Give offset and slope of every channel that has a calibration, as plain JSON."""
    return {
        f"{name}.{quantity}": [one.offset, one.slope]
        for name, entry in parts.items()
        for quantity, one in entry.calibration.items()
    }
