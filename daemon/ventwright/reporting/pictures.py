"""The pictures of a day, a week or any other time."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from ventwright.averaging.course import minutes_of
from ventwright.drawing.calendar import Cell, Grid, calendar
from ventwright.drawing.curve import Drawn, Shade, curve
from ventwright.drawing.scales import round_step
from ventwright.drawing.shapes import Picture
from ventwright.reporting.facts import guideline
from ventwright.reporting.gathered import Gathered
from ventwright.reporting.happenings import Episode, Run
from ventwright.reporting.words import figure

MOST_HOURS = 14
"""Days up to which hours are shown; days beyond."""
_WEEK = 7
_STEPS = (1 / 3, 2 / 3, 1, 2, 4)
"""Where the lightness changes, as shares of the guideline for a day."""


def pictures(gathered: Gathered) -> Iterator[Picture]:
    """Draw what there is to be seen, the most telling first."""
    if gathered.main.known <= 0:
        return
    if gathered.period.kind == "day":
        yield from _day(gathered)
    days = len(gathered.period.days)
    if 1 < days <= MOST_HOURS:
        yield calendar(_hours(gathered))
    elif days > MOST_HOURS:
        yield calendar(_weeks(gathered))


def bounds(gathered: Gathered) -> list[float]:
    """Give the five bounds between the steps of lightness."""
    quantity = gathered.main.quantity
    if limit := guideline(quantity.name):
        value = limit.in_unit(quantity.unit)
        return [float(f"{value * step:.3g}") for step in _STEPS]
    worst = gathered.main.worst(60, gathered.first)
    step = round_step((worst.value if worst else 1.0) / len(_STEPS))
    return [step * n for n in range(1, len(_STEPS) + 1)]


def _title(gathered: Gathered, what: str) -> str:
    main = gathered.main
    return f"{main.quantity.title} at {main.channel.partition('.')[0]}: {what}"


def _day(gathered: Gathered) -> Iterator[Picture]:
    main = gathered.main
    span = gathered.period.begins, gathered.until
    line = [(t, value) for t, value in minutes_of(main) if span[0] <= t < span[1]]
    if not any(value is not None for _, value in line):
        return
    shades = [
        Shade(max(run.begins, span[0]), min(run.ends or span[1], span[1]), run.extractor)
        for run in gathered.happened.runs
    ]
    limit = guideline(main.quantity.name)
    value = limit.in_unit(main.quantity.unit) if limit else 0.0
    levels = [(value, f"guideline for a day {figure(value)}")] if limit else []
    yield curve(
        Drawn(
            "day",
            _title(gathered, "one-minute means; shaded while an extractor ran"),
            f"{main.quantity.unit}, 1-minute means",
            line,
            shades,
            levels,
        )
    )


def _touched(things: Sequence[Episode | Run], begin: int, end: int) -> bool:
    return any(one.begins < end and (one.ends is None or one.ends > begin) for one in things)


def _cell(gathered: Gathered, begin: int, end: int) -> Cell:
    if begin >= gathered.until or end <= gathered.period.begins or begin == end:
        return Cell(None, future=True)
    happened = gathered.happened
    return Cell(
        gathered.day_mean(gathered.main, (begin, min(end, gathered.until))),
        _touched(happened.runs, begin, min(end, gathered.until)),
        _touched(happened.episodes, begin, min(end, gathered.until)),
    )


def _hours(gathered: Gathered) -> Grid:
    days = [day for day, _ in gathered.period.days]
    dates = [datetime.fromtimestamp(day / 1000) for day in days]
    rows = []
    for hour in range(24):
        cells = [_cell(gathered, *hour_of_day(day, hour)) for day in dates]
        rows.append((f"{hour} h", cells))
    heads = [f"{day:%a} {day.day}" for day in dates]
    what = "means of an hour, each day a column"
    return Grid(
        "hours",
        _title(gathered, what),
        gathered.main.quantity.unit,
        heads,
        rows,
        bounds(gathered),
        ("day", [_mean_only(gathered, span) for span in gathered.period.days]),
    )


def _mean_only(gathered: Gathered, span: tuple[int, int]) -> Cell:
    """Give a day's mean without marks."""
    whole = _cell(gathered, *span)
    return Cell(whole.value, future=whole.future)


def hour_of_day(day: datetime, hour: int) -> tuple[int, int]:
    """Tell when an hour of a local day begins and ends, Unix ms.

    One that a clock change repeats is two hours long, one that it leaves out has no length.
    """
    begin = day.replace(hour=hour, minute=0, second=0, microsecond=0)
    first, last = (round(t.timestamp() * 1000) for t in (begin, begin + timedelta(hours=1)))
    return first, last if last > first else first


def _moment(day: datetime, hour: int) -> int:
    """Tell when an hour of a local day begins, Unix ms."""
    at = day.replace(hour=hour, minute=0, second=0, microsecond=0)
    return round(at.timestamp() * 1000)


def _weeks(gathered: Gathered) -> Grid:
    first = datetime.fromtimestamp(gathered.period.begins / 1000)
    monday = (first - timedelta(first.weekday())).replace(hour=0, minute=0, second=0, microsecond=0)
    rows = []
    while _moment(monday, 0) < gathered.until:
        days = [monday + timedelta(n) for n in range(_WEEK)]
        spans = [(_moment(day, 0), _moment(day + timedelta(1), 0)) for day in days]
        rows.append((f"{monday.day} {monday:%b}", [_cell(gathered, *span) for span in spans]))
        monday += timedelta(_WEEK)
    heads = [f"{monday + timedelta(n):%a}" for n in range(_WEEK)]
    what = "means of a day, each week a row from the Monday named"
    return Grid(
        "days",
        _title(gathered, what),
        gathered.main.quantity.unit,
        heads,
        rows,
        bounds(gathered),
    )
