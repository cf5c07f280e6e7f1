"""Takes the means of two parts over the same minutes from the store."""

from collections.abc import Sequence
from typing import NamedTuple

from ventwright.agreeing.in_force import InForce, in_force
from ventwright.averaging.gather import pour_as_stored
from ventwright.means.channel import reach_of
from ventwright.means.minutes import MINUTE_MS, Minutes
from ventwright.quality.marks import Quality
from ventwright.settings.model import Settings
from ventwright.storage.blocks import Column
from ventwright.storage.reader import Reader
from ventwright_drivers.quantities import QUANTITIES, Quantity
from ventwright_drivers.registry import load

_COVERAGE = 0.75


class Pairs(NamedTuple):
    """What a part and the other showed of one quantity at the same times, in order, in its unit."""

    quantity: Quantity
    part: list[float]
    other: list[float]


_OWN_GOOD = (Quality.GOOD, Quality.INCONSISTENT_PARTS)
"""Two parts that disagree are what this is for: each counts that is good by itself."""


class _Taking:
    """Sums up one channel."""

    def __init__(self, minutes: Minutes, in_force: InForce) -> None:
        self.minutes, self._in_force = minutes, in_force

    def take(self, times: Sequence[int], column: Column, sure: bool) -> None:  # noqa: ARG002
        for t, step, mark in zip(times, column.steps, column.marks, strict=True):
            if mark in _OWN_GOOD and step is not None:
                self.minutes.add(t, self._in_force.as_now(t, step))


def pairs(
    reader: Reader,
    settings: Settings,
    names: tuple[str, str],
    span: tuple[int, int],
    over: int = 1,
) -> list[Pairs]:
    """Pair the means over `over` minutes that two parts have between two times (Unix ms).

    Of all quantities that both have. Only good readings count, and only means that they cover
    by three quarters in both parts. Values are as the calibration of now makes them, whatever was
    in force when they were stored. Raises sqlite3.Error.
    """
    both = [settings.parts[name] for name in names]
    count = max(1, (span[1] - span[0]) // MINUTE_MS)
    shared = [q for q in both[0].quantities if q in both[1].quantities]
    taking: dict[str, _Taking] = {}
    for name, entry in zip(names, both, strict=True):
        period: int = load(entry.driver).period_ms
        for quantity in shared:
            minutes = Minutes(span[1], count, period, reach_of(period))
            channel = f"{name}.{quantity}"
            taking[channel] = _Taking(minutes, in_force(reader, settings.parts, channel))
    pour_as_stored(reader, settings, taking, (span[0], span[1] + 2 * MINUTE_MS))
    sums = {channel: one.minutes for channel, one in taking.items()}
    part, other = names
    return [_pair(QUANTITIES[q], sums[f"{part}.{q}"], sums[f"{other}.{q}"], over) for q in shared]


def _pair(quantity: Quantity, part: Minutes, other: Minutes, over: int) -> Pairs:
    found = Pairs(quantity, [], [])
    for first in range(part.count // over * over - over, -1, -over):
        x, y = part.sums(first, first + over), other.sums(first, first + over)
        if x.coverage >= _COVERAGE and y.coverage >= _COVERAGE:
            found.part.append(x.area / x.cover / quantity.per_unit)
            found.other.append(y.area / y.cover / quantity.per_unit)
    return found
