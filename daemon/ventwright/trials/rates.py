"""The emission rate over time, from neighbouring 5-minute means; negative ones are kept."""

import math

from ventwright.trials.balance import Balance
from ventwright.trials.figures import RatePoint
from ventwright.trials.series import Minute, Series, half_width

FASTEST = 1e4
"""A loss rate beyond which none is meant, 1/h."""

_MINUTES = 5
_HOUR_MS = 3_600_000


def rates(
    series: Series, made: Balance | None, volume: float, begins: int
) -> tuple[RatePoint, ...]:
    """Give the rate every five minutes, amount/h: E = V·(dC/dt + k·(C - Cb)); none in a gap.

    `begins`: Unix ms of hour 0. The interval holds noise and the rate's error, volume left out.
    """
    if made is None:
        return ()
    blocks = _blocks(series)
    found = []
    for before, now, after in zip(blocks, blocks[1:], blocks[2:], strict=False):
        if before and now and after and now.extracting in made.rates:
            found.append(_point(before, now, after, made, volume, begins))
    return tuple(found)


def _blocks(series: Series) -> list[Minute | None]:
    """Gather minutes by five from the print's beginning, both ways; None where one is missing."""
    length = _MINUTES / 60
    first = round((series.background.begins - series.print.begins) / length)
    last = round((series.decay.ends - series.print.begins) / length)
    places: dict[int, list[Minute]] = {}
    for minute in series.minutes:
        place = math.floor((minute.middle - series.print.begins) / length)
        places.setdefault(place, []).append(minute)
    return [_block(places.get(n, [])) for n in range(first, last)]


def _block(minutes: list[Minute]) -> Minute | None:
    if len(minutes) < _MINUTES:
        return None
    mean = math.fsum(m.mean for m in minutes) / len(minutes)
    return Minute(minutes[0].begins, minutes[-1].ends, mean, minutes[0].extracting)


def _point(
    before: Minute, now: Minute, after: Minute, made: Balance, volume: float, begins: int
) -> RatePoint:
    rate = made.rates[now.extracting]
    over = now.mean - made.background.level
    apart = after.middle - before.middle
    value = volume * ((after.mean - before.mean) / apart + rate.value * over)
    grown = math.sqrt(min(made.noise.alike, _MINUTES) / _MINUTES)
    noise = made.noise.at(now.mean) * grown
    parts = (noise * math.sqrt(2) / apart, rate.value * noise, rate.error * over)
    half = half_width(volume * math.hypot(*parts, rate.value * made.background.level_error))
    t = begins + round(now.begins * _HOUR_MS)
    return RatePoint(t, _MINUTES * 60_000, value, value - half, value + half)
