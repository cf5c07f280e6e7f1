"""How fast extractors cleared the air, run by run, beside what was commissioned.

A run is told where the air fell while it ran and nothing was emitted any more: a decay that bends,
as under a source that goes on, is left out by mixing/decay.py, and the run says nothing.
"""

from collections.abc import Iterator, Sequence
from statistics import median
from typing import Any, NamedTuple

from ventwright.averaging.course import Course
from ventwright.averaging.telling import label
from ventwright.mixing.decay import Decay, fit_decay
from ventwright.reporting.happenings import Commissioned, Run
from ventwright.reporting.words import figure, several, share

Told = dict[str, Any]

_MOST_RUNS = 40
"""Runs that are looked at, the newest: each is a fit."""
_SMOOTH = 5
"""Minutes of the means by which the decay is found."""
_NEARLY = 0.9
"""The decay begins where the level was last at this share of the run's highest."""
_FALLEN = 0.6
"""A run that does not end below this share of its highest is not looked at."""
_BENT = 1.5
"""A decay falls so many times as far in its first half as in its second, or it is none: a rate
and a level to which it falls cannot be told apart on a straight line."""


class Cleared(NamedTuple):
    """What one run showed."""

    run: Run
    decay: Decay


def clearances(course: Course, runs: Sequence[Run], until: int) -> Iterator[Cleared]:
    """Fit the decay of every run that shows one, 1/h, oldest first."""
    for run in runs[-_MOST_RUNS:]:
        first, last = course.number(run.begins), course.number(run.ends or until)
        decay = _fitted(course, first, last)
        if decay and decay.concluded:
            yield Cleared(run, decay)


def _fitted(course: Course, first: int, last: int) -> Decay | None:
    """Fit the fall at the end of a run; the level to which it falls is free, as days differ."""
    ends = range(first + _SMOOTH, last + 1)
    smooth = [(n, value) for n in ends if (value := course.mean(n - _SMOOTH, n)) is not None]
    highest = max((value for _, value in smooth), default=0.0)
    if not smooth or smooth[-1][1] > _FALLEN * highest:
        return None
    falling = smooth[max(n for n, (_, value) in enumerate(smooth) if value >= _NEARLY * highest) :]
    top, middle, bottom = (falling[place][1] for place in (0, len(falling) // 2, -1))
    if top - middle < _BENT * (middle - bottom):
        return None
    return _fit(course, falling[0][0], last)


def _fit(course: Course, first: int, last: int) -> Decay | None:
    levels = [(n, course.mean(n, n + 1)) for n in range(first, last)]
    known = [(n / 60, value) for n, value in levels if value is not None]
    try:
        return fit_decay([t for t, _ in known], [value for _, value in known])
    except ValueError:
        return None


def clearance_told(found: Sequence[Cleared], commissioned: Sequence[Commissioned]) -> Told:
    """Tell an extractor's clearance: each run, their middle and trend, what was commissioned."""
    rates = [one.decay.rate for one in found]
    newest = commissioned[-1].body.get("clearance") if commissioned else None
    middle = median(rates) if rates else None
    told: Told = {
        "commissioned": newest,
        "middle": None if middle is None else round(middle, 3),
        "share": round(middle / newest, 3) if middle and newest else None,
        "runs": [
            {
                "from": label(one.run.begins),
                "1/h": round(one.decay.rate, 3),
                "low": round(one.decay.low, 3),
                "high": round(one.decay.high, 3),
            }
            for one in found
        ],
    }
    return told | {"words": _words(told, rates)}


def _words(told: Told, rates: Sequence[float]) -> str:
    if not rates:
        return ""
    said = f"It cleared the air at {figure(told['middle'], '1/h')} ({several(len(rates), 'run')})"
    if told["share"] is not None:
        said += f", {share(told['share'])} of what was commissioned"
    return f"{said}{_trend(rates)}."


def _trend(rates: Sequence[float]) -> str:
    """Compare the later half with the earlier one; no word of a trend below six runs."""
    half = len(rates) // 2
    if half < 3:
        return ""
    earlier, later = median(rates[:half]), median(rates[-half:])
    if later < 0.85 * earlier:
        return f"; slower of late, {figure(later, '1/h')} after {figure(earlier, '1/h')}"
    return "; no slower of late"
