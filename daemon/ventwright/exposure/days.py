"""Works out a person's exposure day by day, from the store or from concentrations by hand."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from ventwright.averaging.course import Course
from ventwright.averaging.telling import label
from ventwright.exposure.stay import Stay, length_of, stay_in
from ventwright.exposure.telling import ADULT, Person, Substance, mixtures, person_told, stay_told
from ventwright.exposure.words import cautions
from ventwright.settings.hours import Hours, Span, spans_of
from ventwright_drivers.quantities import QUANTITIES

Told = dict[str, Any]


def told_days(
    room: str,
    person: Person,
    substance: Substance | None,
    days: Sequence[Told],
    channels: Sequence[str],
) -> Told:
    """Put days together into one answer."""
    return {
        "room": room,
        "person": person_told(person),
        "days": list(days),
        "total": list(_totals(days)),
        "cautions": cautions(
            optical=is_optical(channels),
            adult=person.age >= ADULT,
            substance=substance is not None,
            gas=is_gas(channels),
            monoxide=any(channel.partition(".")[2] == "co" for channel in channels),
        ),
    }


def _totals(days: Sequence[Told]) -> Iterator[Told]:
    known = [one for day in days for one in day["channels"] if one["mean"] is not None]
    for channel in dict.fromkeys(one["channel"] for one in known):
        mine = [one for one in known if one["channel"] == channel]
        masses = [one["breathed in, µg"] for one in mine if "breathed in, µg" in one]
        yield {
            "channel": channel,
            "hours": round(sum(one["hours"] for one in mine), 4),
            "µg": round(sum(masses), 4) if masses else None,
        }


def days_of(
    courses: Mapping[str, Course],
    hours: Sequence[Hours],
    span: tuple[date, date],
    person: Person,
    substance: Substance | None = None,
    until: int | None = None,
) -> Iterator[Told]:
    """Tell every day from the first to the last, both included, up to `until` (Unix ms)."""
    day, last = span
    while day <= last:
        spans = [_cut(one, until) for one in spans_of(hours, day)]
        yield day_told(courses, f"{day:%A %d %B %Y}", [s for s in spans if s], person, substance)
        day += timedelta(1)


def _cut(span: Span, until: int | None) -> Span | None:
    end = span[1] if until is None else min(span[1], until)
    return (span[0], end) if end > span[0] else None


def day_told(
    courses: Mapping[str, Course],
    name: str,
    spans: Sequence[Span],
    person: Person,
    substance: Substance | None = None,
) -> Told:
    """Tell the exposure in some spans (Unix ms) of a day."""
    stays = [stay_in(course, spans) for course in courses.values() if _counts(course)]
    told = of_stays(stays if spans else [], person, substance)
    shown = [{"from": label(begin), "to": label(end)} for begin, end in spans]
    return {"day": name, "in the room": shown, "hours": round(length_of(spans), 4), **told}


def _counts(course: Course) -> bool:
    """Tell whether a channel is of something that is breathed in and can be summed."""
    quantity = course.quantity
    return quantity.unit in ("µg/m³", "ppm") and not quantity.inferred and quantity.name != "co2"


def of_stays(stays: Sequence[Stay], person: Person, substance: Substance | None = None) -> Told:
    """Tell some stays, and their substances together."""
    told = [stay_told(stay, person, substance) for stay in stays]
    return {"channels": told, "mixtures": mixtures(told)}


def first_and_last(end: int, days: int) -> tuple[date, date]:
    """Give the local days of which the last is that of `end` (Unix ms)."""
    last = datetime.fromtimestamp(end / 1000).date()
    return last - timedelta(days - 1), last


def begin_of(day: date) -> int:
    """Tell when a local day begins, Unix ms."""
    return round(datetime(day.year, day.month, day.day).timestamp() * 1000)


def is_gas(channels: Sequence[str]) -> bool:
    """Tell whether one of the channels is in ppm, so that limits are converted."""
    return any(QUANTITIES[c.partition(".")[2]].unit == "ppm" for c in channels)


def is_optical(channels: Sequence[str]) -> bool:
    """Tell whether one of the channels is of particle mass, as optical parts infer it."""
    return any(QUANTITIES[c.partition(".")[2]].name.startswith("pm") for c in channels)
