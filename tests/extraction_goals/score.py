"""Holds episodes against the goals: plain figures, and no opinion."""

from typing import NamedTuple

from extraction_goals.episodes import Episode
from ventwright.settings.model import MINUTE

SHARE, LEAST = 0.2, 3 * MINUTE
IN_TIME = 15 * MINUTE


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
