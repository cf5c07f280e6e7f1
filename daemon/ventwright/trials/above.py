"""How long a print stood above the values of published limits."""

import math
from collections.abc import Sequence

from ventwright.settings.limits import Limit, limits
from ventwright.settings.model import MINUTE
from ventwright.trials.figures import Above
from ventwright.trials.series import Minute, Series, Span
from ventwright_drivers.quantities import Quantity


def above(series: Series, quantity: Quantity) -> tuple[Above, ...]:
    """Compare print and decay with every limit of the quantity, lowest value first."""
    minutes = series.within(Span(series.print.begins, series.decay.ends))
    found = [
        _above(limit, minutes, limit.in_unit(quantity.unit))
        for limit in limits().values()
        if limit.quantity == quantity.name and not quantity.inferred
    ]
    return tuple(sorted(found, key=lambda a: (a.value, a.key)))


def _above(limit: Limit, minutes: Sequence[Minute], value: float) -> Above:
    long = sum(m.mean > value for m in minutes)
    highest = _highest([m.mean for m in minutes], limit.averaging_ms // MINUTE or 1)
    return Above(limit.key, limit.sentence(), value, limit.averaging, long, highest)


def _highest(means: Sequence[float], minutes: int) -> float | None:
    if len(means) < minutes:
        return None
    places = range(len(means) - minutes + 1)
    return max(math.fsum(means[n : n + minutes]) / minutes for n in places)
