"""What came out of one played room, in the figures that the goals speak of."""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from detection.emitters import Print
from detection.families import Family
from detection.ideal import learnt, likelihood, spans
from detection.open_loop import play_open
from detection.record import Change, Played, play, shipped_settings
from detection.rooms import Room, draw
from ventwright.settings.model import Settings

Array = NDArray[np.float64]
STRONG = 10.0
"""µg/m³ that a print adds to its worst hour to be one that must not be missed."""
THRESHOLDS = tuple(np.arange(1.0, 30.0, 0.5).tolist())
SETPOINTS = tuple(np.arange(0.3, 4.0, 0.05).tolist())
"""Thresholds of the detector that learns the background, in setpoints."""
SETTLED_S = 86_400
RUN_ON_S = 600


class Noticed(NamedTuple):
    """When a print was noticed, s after its emission began; None: never."""

    one: Print
    delay: float | None
    ideal: float | None
    likely: list[float | None]
    """By a detector on the true excess, for each of THRESHOLDS."""

    learnt: list[float | None]
    """By a detector on the true level that learns the background, for each of SETPOINTS."""
    hour: bool
    """Whether at least the alarm on the hour's mean stood."""

    @property
    def strong(self) -> bool:
        return self.one.strength >= STRONG


@dataclass
class Score:
    """One played room."""

    seed: int
    weeks: float
    prints: list[Noticed] = field(default_factory=list)
    already: int = 0
    """Prints that began while the alarm stood for another reason."""
    false: list[str] = field(default_factory=list)
    """Alarms without a print, by what may have caused them."""
    false_likely: list[int] = field(default_factory=list)
    """Alarms without a print of a detector on the true excess, for each of THRESHOLDS."""
    false_learnt: list[int] = field(default_factory=list)
    """The same of the detector that learns the background, for each of SETPOINTS."""
    false_ideal: int = 0
    hours_bad: int = 0
    """Times that the alarm on the hour's mean was raised."""
    fan_hours: float = 0.0
    ideal_hours: float = 0.0
    errors: list[tuple[float, float]] = field(default_factory=list)
    """Baseline minus truth and its stated uncertainty, every 10 min of quiet air."""


def standing(changes: list[Change], alarm: str) -> list[tuple[float, float]]:
    """Give from when to when an alarm stood, s."""
    found: list[tuple[float, float]] = []
    for change in changes:
        if change.alarm == alarm and change.change == "raised":
            found.append((change.t, np.inf))
        if change.alarm == alarm and change.change == "cleared":
            found[-1] = (found[-1][0], change.t)
    return found


def _fan_hours(fan: list[tuple[float, bool]], end: float) -> float:
    on, since = 0.0, 0.0
    for t, switched_on in [*fan, (end, False)]:
        on += 0.0 if since == 0.0 else t - since
        since = t if switched_on else 0.0
    return on / 3600


def _causes(room: Room, t: float) -> str:
    return next((s.cause for s in room.around.spells if s.begins <= t <= s.ends), "nothing")


def _firsts(statistic: Array, thresholds: tuple[float, ...], period: float) -> list[float | None]:
    """Give after how many s each threshold is reached first; None: never."""
    over = [np.flatnonzero(statistic >= threshold) for threshold in thresholds]
    return [float(o[0] + 1) * period if len(o) else None for o in over]


def _noticed(
    room: Room, played: Played, one: Print, stood: list[tuple[float, float]]
) -> Noticed | None:
    if any(since < one.begins < until for since, until in stood):
        return None
    raised = [since - one.begins for since, _ in stood if one.begins <= since < one.ends]
    first, last = np.searchsorted(room.t, [one.begins, one.ends])
    period = room.part.period_s
    place = likelihood(played.readings[first:last], played.expected[first:last], room.part)
    excess = (played.level - played.bare)[first:last]
    likely = _firsts(excess, THRESHOLDS, period)
    learning = _firsts(learnt(played.level, period)[first:last], SETPOINTS, period)
    ideal = None if place is None else place * period
    hours = standing(played.changes, "hour")
    hour = any(since < one.ends and one.begins < until for since, until in hours)
    return Noticed(one, raised[0] if raised else None, ideal, likely, learning, hour)


def score(room: Room, played: Played, seed: int) -> Score:
    """Work out one room's figures."""
    end, period = float(room.t[-1]), room.part.period_s
    made = Score(seed, end / (7 * 86_400))
    stood = standing(played.changes, "print")
    for one in room.prints:
        noticed = _noticed(room, played, one, stood)
        made.already += noticed is None
        made.prints += [noticed] if noticed else []
        if noticed and noticed.ideal is not None:
            made.ideal_hours += (one.ends - one.begins - noticed.ideal + RUN_ON_S) / 3600
    made.hours_bad = len(standing(played.changes, "hour"))
    made.fan_hours = _fan_hours(played.fan, end)
    if not room.prints:
        made.false = [_causes(room, since) for since, _ in stood]
        excess = played.level - played.bare
        made.false_likely = [len(spans(excess, t, period)) for t in THRESHOLDS]
        thin = max(1, round(10 / period))
        judged = learnt(played.level, period)[::thin]
        made.false_learnt = [len(spans(judged, x, thin * period)) for x in SETPOINTS]
        made.false_ideal = likelihood(played.readings, played.expected, room.part) is not None
        every = slice(int(SETTLED_S / period), None, int(600 / period))
        off = (played.base - played.quiet)[every]
        made.errors = list(zip(off.tolist(), played.sigma[every].tolist(), strict=True))
    return made


class Task(NamedTuple):
    """A room to play: family, seed, days, with prints or without, whether the fan moves air."""

    family: Family
    seed: int
    days: int
    printing: bool
    works: bool = True


def run(task: Task, settings: Settings | None = None) -> Score:
    """Draw, play and score one room."""
    room = draw(task.family, task.seed, task.days, task.printing)
    settings = settings or shipped_settings()
    played = play(room, settings) if task.works else play_open(room, settings)
    return score(room, played, task.seed)
