"""Takes the means of two parts over the same minutes from the store."""

from collections.abc import Sequence
from typing import NamedTuple

from ventwright.averaging.gather import good, pour
from ventwright.means.channel import reach_of
from ventwright.means.minutes import MINUTE_MS, Minutes
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


class _Taking:
    """Sums up one channel."""

    def __init__(self, minutes: Minutes) -> None:
        self.minutes = minutes

    def take(self, times: Sequence[int], column: Column, sure: bool) -> None:  # noqa: ARG002
        for t, step in good(times, column):
            self.minutes.add(t, step)


def pairs(
    reader: Reader,
    settings: Settings,
    names: tuple[str, str],
    span: tuple[int, int],
    over: int = 1,
) -> list[Pairs]:
    """Pair the means over `over` minutes that two parts have between two times (Unix ms).

    Of all quantities that both have. Only good readings count, and only means that they cover
    by three quarters in both parts. Raises sqlite3.Error.
    """
    both = [settings.parts[name] for name in names]
    count = max(1, (span[1] - span[0]) // MINUTE_MS)
    shared = [q for q in both[0].quantities if q in both[1].quantities]
    taking: dict[str, _Taking] = {}
    for name, entry in zip(names, both, strict=True):
        period: int = load(entry.driver).period_ms
        for quantity in shared:
            minutes = Minutes(span[1], count, period, reach_of(period))
            taking[f"{name}.{quantity}"] = _Taking(minutes)
    pour(reader, settings, taking, (span[0], span[1] + 2 * MINUTE_MS))
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
