"""Holds episodes against the goals: plain figures, and no opinion."""

import math
from typing import NamedTuple

from extraction_goals.episodes import Episode
from ventwright.settings.model import MINUTE

SHARE, LEAST = 0.2, 3 * MINUTE
IN_TIME = 15 * MINUTE
CLEAR = (2.58 + 1.64) ** 2
"""Below it nobody can notice 95 % of the failures at one false notice in 200 uses (Neyman and
Pearson, for a known difference in normal noise)."""


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


def evidence(episode: Episode) -> float:
    """Tell how far apart, in squared standard deviations, half the flow and a source that became
    stronger when the fan started look within 15 min, to somebody who knows everything else.

    The air with half the flow and the true inflow, against that with all of it and whatever even
    inflow fits best.
    """
    level, inflow, _ = episode.at_start
    half, whole = (episode.natural + share * episode.added for share in (0.5, 1.0))
    hours = [n * 20 / 3600 for n in range(1, 46)]
    shown = [inflow / half + (level - inflow / half) * math.exp(-half * t) for t in hours]
    kept = [math.exp(-whole * t) for t in hours]
    left = [x - level * k for x, k in zip(shown, kept, strict=True)]
    shape = [(1 - k) / whole for k in kept]
    weights = [20 / (0.3 + 0.03 * x) ** 2 for x in shown]
    fits = zip(weights, left, shape, strict=True)
    best = sum(w * y * s for w, y, s in fits)
    best /= sum(w * s * s for w, s in zip(weights, shape, strict=True))
    return sum(w * (y - best * s) ** 2 for w, y, s in zip(weights, left, shape, strict=True))


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
