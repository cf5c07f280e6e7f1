"""Puts averages beside published limits of the same averaging time: plain JSON, units with it."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from ventwright.averaging.figures import (
    READY_MADE,
    Mean,
    hours,
    rolling,
    worst,
    worst_shift,
)
from ventwright.averaging.gather import Stretch
from ventwright.settings.limits import Limit, limits
from ventwright.settings.model import DAY, MINUTE
from ventwright.standards import aqi
from ventwright.standards.nowcast import nowcast
from ventwright.standards.shift import SHORT_TERM_MINUTES, exceeds
from ventwright_drivers.quantities import Quantity
from ventwright_drivers.registry import load

Told = dict[str, Any]

_NOWCAST = ("pm2_5", "pm10")


def channel_told(stretch: Stretch) -> Told:
    """Tell a channel's averages, indexes and what they are of the limits."""
    name, quantity = stretch.quantity.name, stretch.quantity
    found = [limit for limit in limits().values() if limit.quantity == name]
    public = [limit for limit in found if limit.population == "public"]
    told = {
        "channel": stretch.channel,
        "title": quantity.title,
        "unit": quantity.unit,
        "model": stretch.part.model,
        "optical": load(stretch.part.driver).optical_mass,
        "corrected for humidity": stretch.part.humidity_correction,
        "until": label(stretch.minutes.end),
        "clock was right": stretch.sure,
        "means": [_rolling_told(stretch, minutes, public) for minutes in _times(public)],
        "at work today": list(_work_told(stretch, found)),
        "not compared": [limit.sentence() for limit in found if limit.averaging_ms > DAY],
    }
    return told | ({"index": _index_told(stretch)} if name in aqi.QUANTITIES else {})


def label(t: int) -> str:
    """Write a time (Unix ms) as ISO 8601, local, to the second."""
    return datetime.fromtimestamp(t // 1000).astimezone().isoformat()


def _times(public: Iterable[Limit]) -> list[int]:
    """List the averaging times that are told, minutes: the ready-made and those of limits."""
    of_limits = {limit.averaging_ms // MINUTE for limit in public if limit.averaging_ms <= DAY}
    return sorted({*READY_MADE, *(minutes for minutes in of_limits if minutes)})


def _rolling_told(stretch: Stretch, minutes: int, public: Iterable[Limit]) -> Told:
    mean = rolling(stretch, minutes)
    told = {"over": _over(minutes), **_mean_told(mean, stretch.quantity)}
    same = [limit for limit in public if limit.averaging_ms == minutes * MINUTE]
    return told | {"public limits": [_compared(limit, mean, stretch.quantity) for limit in same]}


def _over(minutes: int) -> str:
    return f"{minutes} min" if minutes % 60 else f"{minutes // 60} h"


def _mean_told(mean: Mean, quantity: Quantity) -> Told:
    digits = len(str(quantity.per_unit))
    value = None if mean.value is None else round(mean.value, digits)
    return {"mean": value, "coverage": round(mean.coverage, 4)}


def _compared(limit: Limit, mean: Mean, quantity: Quantity) -> Told:
    value = limit.in_unit(quantity.unit)
    known = mean.value is not None
    return {
        "key": limit.key,
        "says": limit.sentence(),
        "mark": limit.mark,
        "value": value,
        "converted": limit.unit != quantity.unit,
        "share": round(mean.value / value, 4) if mean.value is not None else None,
        "exceeded": exceeds(mean.value or 0, value) if known else None,
    }


def _work_told(stretch: Stretch, found: Iterable[Limit]) -> Iterator[Told]:
    """Tell the worst of today for every averaging time of an occupational limit."""
    work = [limit for limit in found if limit.population == "occupational"]
    for averaging in sorted({limit.averaging_ms for limit in work}):
        mean, what = _worst_of(stretch, averaging)
        same = [limit for limit in work if limit.averaging_ms == averaging]
        told = {"what": what, **_mean_told(mean, stretch.quantity)}
        told["until"] = None
        if mean.value is not None:
            told["until"] = label(stretch.minutes.end - mean.ago * MINUTE)
        yield told | {"limits": [_compared(limit, mean, stretch.quantity) for limit in same]}


def _worst_of(stretch: Stretch, averaging: int) -> tuple[Mean, str]:
    if not averaging:
        return worst(stretch, 1), "highest minute"
    minutes = averaging // MINUTE
    if minutes <= SHORT_TERM_MINUTES:
        return worst(stretch, minutes), f"worst {minutes} min"
    hours_long = minutes // 60
    return worst_shift(stretch, hours_long), f"worst shift, time-weighted over {hours_long} h"


def _index_told(stretch: Stretch) -> Told:
    name = stretch.quantity.name
    over = aqi.averaging_hours(name)
    told = {f"{over} h mean": _indexed(name, rolling(stretch, 60 * over).value)}
    if name in _NOWCAST:
        told["NowCast"] = _indexed(name, nowcast(hours(stretch)))
    return told


def _indexed(name: str, value: float | None) -> Told | None:
    if value is None:
        return None
    found = aqi.index(name, max(0.0, value))
    return {
        "value": aqi.truncated(name, value),
        "index": found.number,
        "category": found.category,
        "words": found.words,
    }
