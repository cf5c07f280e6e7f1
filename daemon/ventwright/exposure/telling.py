"""Tells what a person took in: plain JSON, units with it, each figure beside its limits."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from ventwright.exposure.dose import inhaled, picograms_a_kilogram, share_of_day
from ventwright.exposure.stay import Stay
from ventwright.settings.limits import Limit, limits
from ventwright.settings.model import DAY, HOUR, MINUTE
from ventwright.standards import breathing
from ventwright.standards.breathing import Breathing, Intake
from ventwright.standards.gases import convert
from ventwright.standards.shift import (
    SHIFT_HOURS,
    SHORT_TERM_MINUTES,
    exceeds,
    mixture,
    shift_average,
)

Told = dict[str, Any]

ADULT = 18
"""Years; limits at work are never told for younger people."""


class Person(NamedTuple):
    """Somebody in the room."""

    name: str
    age: int
    activity: str
    weight: float | None = None
    """kg; needed for an acceptable intake only."""

    @property
    def breathes(self) -> Breathing:
        """How much air, m³/h."""
        return breathing.breathing(self.age, self.activity)


class Substance(NamedTuple):
    """A substance whose share of the particles' mass somebody gives."""

    intake: Intake
    fraction: float


def person_told(person: Person) -> Told:
    """Tell who it is about, and how much air that is."""
    breathes = person.breathes
    return {
        "name": person.name,
        "age": person.age,
        "activity": person.activity,
        "weight": person.weight,
        "m³/h": round(breathes.rate, 4),
        "rate from": f"{breathing.SOURCE}: {breathes.words}",
        "mark": breathing.MARK,
    }


def stay_told(stay: Stay, person: Person, substance: Substance | None = None) -> Told:
    """Tell one channel's stay; numbers are None where readings cover too little of it."""
    told = {
        "channel": stay.channel,
        "title": stay.quantity.title,
        "unit": stay.quantity.unit,
        "hours": round(stay.hours, 4),
        "coverage": round(stay.coverage, 4),
        "mean": _rounded(stay.mean) if stay.known else None,
    }
    found = [one for one in limits().values() if one.quantity == stay.quantity.name]
    if not stay.known:
        return told
    public = [one for one in found if one.population == "public"]
    told["time-weighted over 8 h"] = _rounded(shift_average(stay.pieces))
    told["day's guideline"] = [_share(stay, one) for one in public if one.averaging_ms == DAY]
    told["worst"] = [_worst(stay, one) for one in public if 0 < one.averaging_ms < DAY]
    if person.age >= ADULT:
        told["at work"] = list(_at_work(stay, found))
    return told | _taken_in(stay, person, substance)


def _rounded(value: float, digits: int = 6) -> float:
    return float(f"{value:.{digits}g}")


def _compared(stay: Stay, limit: Limit, value: float | None) -> Told:
    bound = limit.in_unit(stay.quantity.unit)
    known = value is not None
    return {
        "key": limit.key,
        "says": limit.sentence(),
        "mark": limit.mark,
        "limit": _rounded(bound),
        "value": _rounded(value) if value is not None else None,
        "share": _rounded(value / bound, 4) if value is not None else None,
        "exceeded": exceeds(value or 0, bound) if known else None,
    }


def _share(stay: Stay, limit: Limit) -> Told:
    bound = limit.in_unit(stay.quantity.unit)
    share = share_of_day(stay.pieces, bound)
    return {
        "key": limit.key,
        "says": limit.sentence(),
        "mark": limit.mark,
        "limit": _rounded(bound),
        "share taken": _rounded(share.taken, 4),
        "share left": _rounded(max(0.0, 1 - share.taken), 4),
        "mean left for the rest of the day": (
            None if share.mean_left is None else _rounded(share.mean_left, 4)
        ),
    }


def _worst(stay: Stay, limit: Limit) -> Told:
    return _compared(stay, limit, stay.worst(limit.averaging_ms // MINUTE))


def _at_work(stay: Stay, found: Iterable[Limit]) -> Iterator[Told]:
    for limit in found:
        if limit.population == "occupational":
            yield _compared(stay, limit, at_work(stay, limit))


def at_work(stay: Stay, limit: Limit) -> float | None:
    """Give what an occupational limit is compared with, in the channel's unit.

    A ceiling and a short-term limit with the worst minutes of the stay; a shift's with the sum of
    concentration x hours over 8 (or 10) hours, however long the stay was: standards/shift.py.
    """
    if limit.averaging_ms <= SHORT_TERM_MINUTES * MINUTE:
        return stay.worst(max(1, limit.averaging_ms // MINUTE))
    over = limit.averaging_ms / HOUR
    return shift_average(stay.pieces) * SHIFT_HOURS / over


def _taken_in(stay: Stay, person: Person, substance: Substance | None) -> Told:
    try:
        scale = convert(1, stay.quantity.unit, "µg/m³", stay.quantity.name)
    except ValueError:  # no mass is known of it
        return {}
    pieces = [(value * scale, hours) for value, hours in stay.pieces]
    mass = inhaled(pieces, person.breathes.rate)
    told: Told = {"air breathed, m³": _rounded(person.breathes.rate * stay.hours, 4)}
    told["breathed in, µg"] = _rounded(mass, 4)
    if substance and person.weight and stay.quantity.name.startswith("pm"):
        told["intake"] = intake_told(mass, person.weight, substance)
    return told


def intake_told(mass: float, weight: float, substance: Substance) -> Told:
    """Tell a substance's part of a mass (µg) beside its acceptable daily intake."""
    intake, fraction = substance
    found = picograms_a_kilogram(mass, fraction, weight)
    return {
        "substance": intake.substance,
        "share of the particles": fraction,
        "pg/kg": _rounded(found, 4),
        "acceptable pg/kg a day": intake.picograms,
        "share": _rounded(found / intake.picograms, 4),
        "source": intake.source,
        "mark": intake.mark,
    }


def mixtures(told: Sequence[Told]) -> dict[str, float]:
    """Sum shares of limits of one issuer over 8 h, where two substances or more have one.

    For substances that act alike on the body; of two channels of a substance the higher counts.
    """
    shares: dict[str, dict[str, float]] = {}
    for channel in told:
        for one in channel.get("at work", ()):
            limit = limits()[one["key"]]
            if limit.averaging_ms == SHIFT_HOURS * HOUR:
                of = shares.setdefault(f"{limit.issuer} {limit.kind}", {})
                of[limit.substance] = max(of.get(limit.substance, 0.0), one["share"])
    return {issuer: _mixture(of) for issuer, of in shares.items() if len(of) > 1}


def mixture_told(parts: Sequence[tuple[float, float]]) -> Told:
    """Tell the equivalent exposure of (concentration, limit) pairs, each in a unit of its own."""
    found = mixture(parts)
    exceeded = exceeds(_rounded(found, 12), 1.0)  # not by the rounding of sums
    return {"mixture": _rounded(found), "exceeded": exceeded}


def _mixture(shares: Mapping[str, float]) -> float:
    return _rounded(mixture((share, 1.0) for share in shares.values()), 4)
