"""Puts the figures of one print together, with intervals, floors and cautions; reads no store."""

import math
from collections.abc import Callable
from typing import NamedTuple

from ventwright.settings.model import PartEntry
from ventwright.trials.above import above
from ventwright.trials.balance import Balance
from ventwright.trials.cautions import cautions
from ventwright.trials.elsewhere import elsewhere
from ventwright.trials.figures import Figure, Point, Print
from ventwright.trials.marking import Trial
from ventwright.trials.rates import rates
from ventwright.trials.rising import Rising, rising
from ventwright.trials.series import MINUTE_H, Series, half_width
from ventwright_drivers.quantities import Quantity
from ventwright_drivers.registry import load

_HOUR_MS = 3_600_000
AMOUNTS = {"µg/m³": "µg", "1/cm³": "million particles", "ppm": "mL", "ppb": "µL"}
"""What a concentration times m³ comes to, by the unit of the concentration."""


class Known(NamedTuple):
    """What is known of a print beside its readings."""

    trial: Trial
    channel: str
    quantity: Quantity
    part: PartEntry
    room: str
    volume: float
    volume_error: float
    """A share, standard uncertainty."""
    coverage: float
    within: float
    other_room: tuple[float, float] | None


def figures(series: Series, made: Balance | None, why: str, about: Known) -> Print:
    """Give all figures; without a balance the emitted ones say `why`."""
    seen = rising(series, made, about)
    labels = about.trial.labels
    grams, wrong = _number(labels, "grams")
    printers, many_wrong = _number(labels, "printers")
    total = _total(made, why, about, seen)
    points = rates(series, made, about.volume, about.trial.marks["background"])
    count = int(printers or 1)
    return Print(
        about.trial.name,
        labels,
        about.channel,
        about.quantity.title,
        about.quantity.unit,
        about.part.model,
        bool(load(about.part.driver).optical_mass),
        about.room,
        about.volume,
        about.trial.phases,
        _curve(series, made, about),
        about.coverage,
        seen.floor,
        seen.start,
        seen.rise,
        seen.mean_rise,
        _loss_rate(made, why),
        _fit(made),
        points,
        f"{_amount(about)}/h",
        _amount(about),
        total,
        _share(total, grams, "/g", wrong or "how many grams were printed is not labelled"),
        _share(total, series.print.hours, "/h", ""),
        _share(total, count, " per printer", ""),
        grams,
        count,
        above(series, about.quantity),
        elsewhere(total, points, about),
        cautions(series, made, about, [text for text in (wrong, many_wrong) if text]),
        about.trial.unusable,
    )


def _amount(about: Known) -> str:
    return AMOUNTS.get(about.quantity.unit, f"{about.quantity.unit}·m³")


def _number(labels: dict[str, str], name: str) -> tuple[float | None, str]:
    """Read a number of the labels; also the sentence where it is none."""
    text = labels.get(name)
    if text is None:
        return None, ""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0 < value < math.inf:
        return None, f'{name}="{text}" is no number above 0: label it anew'
    return value, ""


def _total(made: Balance | None, why: str, about: Known, seen: Rising) -> Figure:
    unit = _amount(about)
    if made is None:
        return Figure(None, unit, why=why)
    value = about.volume * made.emitted
    standard = math.hypot(about.volume * made.error, about.volume_error * value)
    of_volume = half_width(about.volume_error * abs(value))
    low = value - math.hypot(about.volume * made.half, of_volume)
    high = value + math.hypot(about.volume * made.above, of_volume)
    bound = None
    if low <= 0 or seen.rise.below is not None:
        bound = max(high, about.volume * seen.floor)
    return Figure(value, unit, low, high, standard, bound)


def _share(total: Figure, by: float | None, suffix: str, why: str) -> Figure:
    """Divide a figure by a number that is taken for exact."""
    unit = total.unit + suffix
    if not by:
        return Figure(None, unit, why=why)
    if total.value is None:
        return Figure(None, unit, why=total.why)

    def part(value: float | None) -> float | None:
        return None if value is None else value / by

    ends = (part(total.low), part(total.high), part(total.standard), part(total.below))
    return Figure(total.value / by, unit, *ends)


def _loss_rate(made: Balance | None, why: str) -> Figure:
    if made is None or not made.rates:
        return Figure(None, "1/h", why=why)
    rate = made.rates.get(False) or next(iter(made.rates.values()))
    above = rate.half if rate.above is None else rate.above
    low, high = rate.value - rate.half, rate.value + above
    return Figure(rate.value, "1/h", low, high, rate.error, why=rate.source)


def _fit(made: Balance | None) -> dict[str, float]:
    if made is None or made.decay is None:
        return {}
    decay = made.decay
    return {
        "r2": decay.r2,
        "points": float(decay.points),
        "rise": decay.rise,
        "background": decay.background,
        "fallen": decay.fallen,
    }


def _curve(series: Series, made: Balance | None, about: Known) -> tuple[Point, ...]:
    """Give every minute of the record, gaps included."""
    expected: Callable[[float], float | None] = made.background.at if made else (lambda _: None)
    begins = about.trial.marks["background"]
    count = round((series.decay.ends - series.background.begins) / MINUTE_H)
    first = series.minutes[0].begins if series.minutes else 0.0
    held = {round((m.begins - first) / MINUTE_H): m.mean for m in series.minutes}

    def point(n: int) -> Point:
        hours = first + n * MINUTE_H
        t = begins + round(hours * _HOUR_MS)
        return Point(t, 60_000, held.get(n), expected(hours + MINUTE_H / 2))

    return tuple(point(n) for n in range(count))
