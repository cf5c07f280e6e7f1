"""The facts of a period, for words, pages and pictures: plain JSON, units with it.

Worked out in plain Python: the courier makes its digest of them. It knows no words of the telling.
"""

from collections.abc import Iterator
from datetime import date, datetime
from itertools import groupby
from typing import Any

from ventwright.averaging.course import Course
from ventwright.averaging.telling import label
from ventwright.exposure.days import days_of, told_days
from ventwright.exposure.telling import Person
from ventwright.reporting.clearances import clearance_told, clearances
from ventwright.reporting.gathered import Gathered, hours_of, main_channel
from ventwright.reporting.happenings import Happenings, Run
from ventwright.reporting.load import TARGET_A_DAY
from ventwright.settings.hours import parse_hours
from ventwright.settings.limits import Limit, limits
from ventwright.settings.model import DAY, HOUR, MINUTE
from ventwright_drivers.registry import load

Told = dict[str, Any]


def facts(gathered: Gathered) -> Told:
    """Tell all facts of a period."""
    settings, period = gathered.settings, gathered.period
    return {
        "room": settings.room.name,
        "kind": period.kind,
        "title": period.title,
        "from": label(period.begins),
        "to": label(gathered.until),
        "since": label(gathered.since),
        "over": gathered.until >= period.ends,
        "main": main_channel(settings),
        "channels": [channel_told(gathered, course) for course in gathered.courses.values()],
        "days": list(_days(gathered)),
        "alarms": _alarms(gathered),
        "extractors": list(_extractors(gathered)),
        "losses": list(_losses(gathered.happened, gathered.until)),
        "people": list(_people(gathered)),
    }


def channel_told(gathered: Gathered, course: Course) -> Told:
    """Tell one channel: its mean, its worst hour and minute, time above limits, coverage."""
    first, quantity = course.number(gathered.since), course.quantity
    entry = gathered.settings.parts[course.channel.partition(".")[0]]
    hours = [(rounded(value), t) for t, value in hours_of(gathered, course) if value is not None]
    worst = max(hours, default=None, key=lambda hour: hour[0] or 0)
    minute = course.worst(1, first)
    _, cover = course.sums(first, course.count)
    return {
        "channel": course.channel,
        "title": quantity.title,
        "unit": quantity.unit,
        "concentration": not (quantity.raw or quantity.inferred),
        "model": entry.model,
        "optical": load(entry.driver).optical_mass,
        "mean": rounded(course.mean(first, course.count)),
        "worst hour": worst and {"mean": worst[0], "from": label(worst[1])},
        "highest minute": minute
        and {"mean": rounded(minute.value), "at": label(course.time(minute.end - 1))},
        "coverage": round(cover / max(1, course.count - first), 4),
        "limits": list(_limits(course, first)),
    }


def comparable(quantity: str) -> list[Limit]:
    """List the public limits of a quantity whose averaging time is a day or less."""
    found = [one for one in limits().values() if one.quantity == quantity]
    return [one for one in found if one.population == "public" and 0 < one.averaging_ms <= DAY]


def guideline(quantity: str) -> Limit | None:
    """Choose the strictest public limit over 24 h, if there is one."""
    days = [one for one in comparable(quantity) if one.averaging_ms == DAY]
    return min(days, key=lambda one: one.in_unit("mg/m³", 24.45), default=None)


def rounded(value: float | None, digits: int = 4) -> float | None:
    """Keep the digits that can mean something."""
    return None if value is None else float(f"{value:.{digits}g}")


def _limits(course: Course, first: int) -> Iterator[Told]:
    """Tell the limits of a channel, all of one averaging time from the same means."""
    there = sorted(comparable(course.quantity.name), key=lambda one: one.averaging_ms)
    for averaging, same in groupby(there, key=lambda one: one.averaging_ms):
        minutes = averaging // MINUTE
        windows = course.windows(minutes, max(0, first - minutes + 1))
        worst = windows.worst
        for limit in same:
            value = limit.in_unit(course.quantity.unit)
            yield {
                "key": limit.key,
                "says": limit.sentence(),
                "averaging": limit.averaging,
                "mark": limit.mark,
                "limit": rounded(value),
                "highest": rounded(worst.value) if worst else None,
                "minutes above": windows.above(value),
                "known": worst is not None,
            }


def _days(gathered: Gathered) -> Iterator[Told]:
    """Tell the mean of every day of the period, and whether it was above the day's guideline."""
    course = gathered.main
    limit = guideline(course.quantity.name)
    for begin, end in gathered.period.days:
        if begin >= gathered.until:
            return
        whole = end <= gathered.until and end - begin >= DAY - 2 * HOUR
        mean = gathered.day_mean(course, (begin, min(end, gathered.until)))
        above = None
        if limit and mean is not None and whole:
            above = mean > limit.in_unit(course.quantity.unit)
        told = {"day": label(begin), "mean": rounded(mean), "whole": whole, "above": above}
        yield told | {"limit": limit.sentence() if limit else None}


def _alarms(gathered: Gathered) -> Told:
    episodes = gathered.happened.episodes
    raised = [one for one in episodes if one.begins >= gathered.period.begins]
    days = max(1.0, (gathered.until - gathered.period.begins) / DAY)
    names = dict.fromkeys(one.alarm for one in raised)
    return {
        "raised": len(raised),
        "a day": round(len(raised) / days, 2),
        "EEMUA 191 target, a day": TARGET_A_DAY,
        "by alarm": {name: sum(one.alarm == name for one in raised) for name in names},
        "standing": [one.alarm for one in episodes if one.ends is None],
        "episodes": [
            {
                "alarm": one.alarm,
                "priority": one.priority,
                "channel": one.channel,
                "from": label(one.begins),
                "to": label(one.ends) if one.ends else None,
                "minutes": round(((one.ends or gathered.until) - one.begins) / MINUTE, 1),
                "peak": rounded(one.peak),
                "unit": one.unit,
                "acknowledged": one.acknowledged,
            }
            for one in episodes
        ],
    }


def _extractors(gathered: Gathered) -> Iterator[Told]:
    begins, until = gathered.period.begins, gathered.until
    for name in gathered.settings.extractors:
        runs = [run for run in gathered.happened.runs if run.extractor == name]
        lengths = [min(run.ends or until, until) - max(run.begins, begins) for run in runs]
        yield {
            "extractor": name,
            "hours": round(sum(lengths) / HOUR, 2),
            "runs": len(runs),
            "longest, min": round(max(lengths, default=0) / MINUTE, 1),
            "clearance": _clearance(gathered, name, runs),
        }


def _clearance(gathered: Gathered, name: str, runs: list[Run]) -> Told:
    commissioned = [one for one in gathered.happened.commissioned if one.extractor == name]
    channel = commissioned[-1].body.get("channel") if commissioned else None
    course = gathered.courses.get(channel or "", gathered.main)
    return clearance_told(list(clearances(course, runs, gathered.until)), commissioned)


def _losses(happened: Happenings, until: int) -> Iterator[Told]:
    for one in happened.losses:
        yield {
            "what": one.what,
            "why": one.why,
            "from": label(one.begins),
            "to": label(one.ends) if one.ends else None,
            "minutes": round(((one.ends or until) - one.begins) / MINUTE, 1),
        }


def _people(gathered: Gathered) -> Iterator[Told]:
    settings = gathered.settings
    first, last = _dates(gathered)
    main = {main_channel(settings): gathered.main}
    for name, entry in settings.people.items():
        person = Person(name, entry.age, entry.activity, entry.weight)
        hours = [parse_hours(text) for text in entry.hours]
        days = list(days_of(main, hours, (first, last), person, until=gathered.until))
        yield told_days(settings.room.name, person, None, days, list(main))


def _dates(gathered: Gathered) -> tuple[date, date]:
    last = datetime.fromtimestamp((gathered.until - 1) / 1000).date()
    return datetime.fromtimestamp(gathered.period.begins / 1000).date(), last
