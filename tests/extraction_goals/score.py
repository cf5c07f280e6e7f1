"""Holds episodes against the goals: plain figures, and no opinion."""

import math
from typing import NamedTuple

import numpy as np

from extraction_goals.episodes import Episode
from ventwright.settings.model import HOUR, MINUTE
from ventwright.source.emission import STEP_MS

SHARE, LEAST = 0.2, 3 * MINUTE
IN_TIME = 15 * MINUTE
HEALTHY = tuple(0.7 + 0.05 * n for n in range(13))
SPREAD = 0.11
"""How far the clearance of a good fan may be off what was commissioned, as a share, in one of
three uses: the measurement by 0.05, doors and weather by 0.1 (ours)."""


class Recovery(NamedTuple):
    """A recovery prediction held against what happened, ms."""

    left: int
    error: int
    covered: bool

    @property
    def good(self) -> bool:
        """Within 20 % or 3 min, whichever is larger."""
        return abs(self.error) <= max(SHARE * self.left, LEAST)


def recoveries(episode: Episode, all_of_them: bool = False) -> list[Recovery]:
    """Hold the first prediction after the source's end, or every minute's, against the truth."""
    if episode.cleared is None:
        return []
    after = [(t, c) for t, c in episode.forecasts if episode.ends <= t < episode.cleared]
    return [
        Recovery(
            episode.cleared - t,
            c["about"] - episode.cleared,
            c["from"] <= episode.cleared <= c["to"],
        )
        for t, c in (after if all_of_them else after[:1])
    ]


def noticed(episode: Episode) -> int | None:
    """Tell after how many ms of extraction a low clearance was told, or None."""
    told = episode.of("clearance", "low")
    if not told or episode.started is None:
        return None
    return _extracted(episode, told[0].t)


def _extracted(episode: Episode, until: int) -> int:
    total, since = 0, None
    for t, on in episode.on:
        if t > until:
            break
        if on:
            since = t
        elif since is not None:
            total, since = total + t - since, None
    return total + (until - since if since is not None else 0)


def reach(episode: Episode) -> float:
    """Tell how likely half the flow is noticed in time by whoever knows far more than the program.

    That is: when the source changed, that it was even between, the room, and the part's noise; not
    how strong the source was, nor how well the commissioned clearance holds today. Neyman and
    Pearson at one false notice in 200: the chance that a normal deviate is above 2.58 less the
    distance at which the air with half the flow lies from what the whole flow explains best.
    """
    shown = episode.shown[: IN_TIME // STEP_MS]
    if not shown:
        return 0.0
    apart = min(_apart(episode, shown, share) for share in HEALTHY)
    return 0.5 * math.erfc((2.58 - math.sqrt(apart)) / math.sqrt(2))


def _apart(episode: Episode, shown: list[tuple[int, float]], share: float) -> float:
    """Give the squared distance in standard deviations from the best fit with a share of the flow.

    Times are told from where the fan started, and begin anew with every step of the source.
    """
    rate = episode.natural + share * episode.added
    start, first = shown[0]
    kinks = [start, *(t for t in episode.changes if start < t < shown[-1][0])]
    columns, left, sigmas = [], [], []
    for t, level in shown:
        sigmas.append((0.3 + 0.03 * level) / math.sqrt(STEP_MS / 1000))
        left.append(level - first * math.exp(-rate * (t - start) / HOUR))
        columns.append([_risen(rate, (t - kink) / HOUR) for kink in kinks])
    weights = 1 / np.array(sigmas)
    design, values = np.array(columns) * weights[:, None], np.array(left) * weights
    best = np.linalg.lstsq(design, values, rcond=None)[0]
    return float(((values - design @ best) ** 2).sum()) + ((share - 1) / SPREAD) ** 2


def _risen(rate: float, hours: float) -> float:
    return -math.expm1(-rate * max(0.0, hours)) / rate


class Told(NamedTuple):
    """What was told of the source: errors of mass (share) and of begin and end (ms)."""

    mass: float
    begin: int
    end: int


def told(episode: Episode) -> Told | None:
    """Hold what was told of the print against the truth; None if its end was not told.

    A print that was told in several pieces counts from the first beginning to the last end, with
    the sum of its masses.
    """
    begun = [r for r in episode.of("source", "began") if r.t >= episode.begins - 10 * MINUTE]
    ended = [r for r in episode.of("source", "ended") if r.t >= episode.begins]
    if not begun or not ended:
        return None
    mass = sum(r.body["total"] for r in ended)
    return Told(
        mass / episode.mass - 1,
        begun[0].body["began"] - episode.begins,
        ended[-1].body["ended"] - episode.ends,
    )
