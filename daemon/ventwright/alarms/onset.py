"""Tells that a source has begun before its air is bad: what a rise will be in a few minutes.

Knows one channel, its short means and its baseline; knows no alarm, no room and no kind of source.

What a source brings in grows with time; what an open door brings in stays below the difference to
the air outside, which is as large as the room's own baseline or so. So the setpoint grows with the
baseline, and the level is taken on as it rises now. Three things keep that honest:

- the level counts from the lowest minute of the last half hour (or the baseline, if that is
  higher), so air that drifts or that a door has lifted is no source;
- of the rise from one minute to the next, three and a half standard errors are taken off, as this
  room's own quiet minutes show them: noise, steps and doors included;
- the rise of a minute never counts for more than the level has risen, so one wild reading is gone
  with the ten seconds that it stands in.

A slow source has no such rise: the plain rise over five minutes counts as well, as far as the air
still shows it. And where the background is dirty, what a door brings in is soon gone again: a rise
that lasts need not grow with it.

All of it is worked out from the channel, so a restart costs nothing here; only a delay of the
alarm that runs then (condition.py) begins anew: 10 s more to an alarm as shipped.
"""

import math

from ventwright.means.channel import Channel
from ventwright.settings.model import MINUTE, SECOND
from ventwright.settings.model import Alarm as AlarmSettings

LEVEL_MS = 5 * MINUTE
_NOW_MS = 10 * SECOND
_LOOK_EVERY_MS = 5 * SECOND
_SURE = 3.5 * math.sqrt(2)
"""Standard errors of a minute's mean that two of them must be apart by."""


class Onset:
    """What one channel's rise will be."""

    def __init__(self, channel: Channel, settings: AlarmSettings) -> None:
        """Look `ahead` at most; windows see what is added from now on."""
        self._channel = channel
        self._least = settings.coverage
        self._minutes = settings.ahead / MINUTE
        for length in (_NOW_MS, MINUTE, 2 * MINUTE, LEVEL_MS):
            channel.watch(length)
        self._due = 0
        self._climb = self._lowest = 0.0
        self._slow: float | None = None

    def expected(self, t: int, mean: float, base: float, begun: bool) -> tuple[float, float]:
        """Give what the rise will be, and what of it is still to come, in the channel's unit.

        `mean` is that of now, `base` the baseline. Once an episode has `begun` the slow rise says
        nothing any more: it would only tell late that the air is clean.
        """
        if t >= self._due:
            self._due = t + _LOOK_EVERY_MS
            self._look(t, base)
        recent = self._channel.mean(t, _NOW_MS, self._least).value
        now = mean if recent is None else min(mean, recent)
        level = now - max(base, self._lowest)
        coming = self._minutes * max(0.0, min(self._climb, level))
        if self._slow is not None and not begun:
            slow = min(self._slow, now - base)
            if slow > level + coming:
                return slow, 0.0
        return level + coming, coming

    def lasts(self, base: float, rise: float) -> bool:
        """Tell whether each of the last minutes stood at least `rise` above the baseline."""
        lately = self._channel.lately
        return lately is not None and lately - base >= rise

    def _look(self, t: int, base: float) -> None:
        """Work out what changes slowly: by how much a minute's mean surely rose, and the rest."""
        channel, least = self._channel, self._least
        slow = channel.mean(t, LEVEL_MS, least).value
        self._slow = None if slow is None else slow - base
        lowest = channel.lowest
        self._lowest = base if lowest is None else lowest
        minute = channel.mean(t, MINUTE, least).value
        before = channel.mean_before(t, MINUTE, least)
        if minute is None or before is None or not channel.speaks(t):
            self._climb = 0.0
        else:
            self._climb = minute - before - _SURE * channel.noise(MINUTE)
