"""What the air was: how well each channel was seen, and how long it was over published limits.

Works on sums a minute, so that a year costs no more memory than a day.
"""

from collections import deque
from typing import NamedTuple

from ventwright.keeper.core import Core
from ventwright.means.channel import Channel
from ventwright.replaying.items import Start
from ventwright.replaying.player import Listener
from ventwright.settings.limits import Limit, limits
from ventwright.settings.model import DAY, MINUTE

COVERAGE = 0.75
"""The share of a limit's averaging time that good readings must cover for its mean to be known."""

_FINEST = DAY // MINUTE


class Compared(NamedTuple):
    """A limit in steps of a channel, and the limit itself."""

    threshold: float
    limit: Limit


class Exceeding:
    """How long a channel's mean was known, and over a limit; ms and the channel's unit."""

    def __init__(self, limit: Limit) -> None:
        """Start with nothing."""
        self.limit = limit
        self.known = 0
        self.over = 0


class Window:
    """A channel's mean over one averaging time, looked at once a minute (long ones less often)."""

    def __init__(self, averaging: int, compared: list[Compared]) -> None:
        """Take the averaging time, ms (0, at any time: a minute), and limits in steps."""
        minutes = max(1, averaging // MINUTE)
        self._bucket = max(1, minutes // _FINEST)
        self._places = max(1, minutes // self._bucket)
        self._length = minutes * MINUTE
        self._compared = [(one.threshold, Exceeding(one.limit)) for one in compared]
        self._sums: deque[tuple[int, int, int]] = deque()
        self._area = self._cover = 0
        self._now = 0
        self._filling = [0, 0]
        self.highest: float | None = None
        """The highest mean, steps."""

    @property
    def found(self) -> list[Exceeding]:
        """What was found for every limit."""
        return [exceeding for _, exceeding in self._compared]

    def add(self, minute: int, area: int, cover: int) -> None:
        """Take the sums of a minute (its number since 1970): step·ms and covered ms."""
        place = minute // self._bucket
        if self._now and place > self._now:
            self._close(min(place, self._now + self._places + 1))
        self._now = max(place, self._now)
        self._filling[0] += area
        self._filling[1] += cover

    def finish(self) -> None:
        """Close what is being filled."""
        if self._now:
            self._close(self._now + 1)

    def _close(self, until: int) -> None:
        """Go on to the place `until`; after a gap of a whole window nothing is known anyway."""
        self._push(self._now, *self._filling)
        self._filling = [0, 0]
        for place in range(self._now + 1, until):
            self._push(place, 0, 0)

    def _push(self, place: int, area: int, cover: int) -> None:
        sums = self._sums
        sums.append((place, area, cover))
        self._area += area
        self._cover += cover
        while sums[0][0] <= place - self._places:
            _, old, covered = sums.popleft()
            self._area -= old
            self._cover -= covered
        if self._cover >= COVERAGE * self._length:
            self._compare(self._area / self._cover)

    def _compare(self, mean: float) -> None:
        self.highest = mean if self.highest is None else max(mean, self.highest)
        for threshold, exceeding in self._compared:
            exceeding.known += self._bucket * MINUTE
            exceeding.over += self._bucket * MINUTE * (mean > threshold)


class ChannelAir:
    """One channel over the whole log."""

    def __init__(self, channel: Channel) -> None:
        """Prepare a window for every averaging time that a limit on the quantity has."""
        self.unit = channel.quantity.unit
        self.per_unit = channel.per_unit
        self.covered = 0
        """ms"""
        self.windows = [
            Window(averaging, compared) for averaging, compared in _compared(channel).items()
        ]
        self._seen = (0, 0)

    def begin(self, channel: Channel) -> None:
        """Leave away what a restored channel had before."""
        self._seen = (channel.history.area, channel.history.cover)

    def take(self, channel: Channel, minute: int) -> None:
        """Take what came since as that minute's."""
        history = channel.history
        area, cover = history.area - self._seen[0], history.cover - self._seen[1]
        self._seen = (history.area, history.cover)
        self.covered += cover
        for window in self.windows:
            window.add(minute, area, cover)


def _compared(channel: Channel) -> dict[int, list[Compared]]:
    by_time: dict[int, list[Compared]] = {}
    for limit in limits().values():
        if limit.quantity == channel.quantity.name:
            threshold = limit.in_unit(channel.quantity.unit) * channel.per_unit
            by_time.setdefault(limit.averaging_ms, []).append(Compared(threshold, limit))
    return by_time


class Air(Listener):
    """Follows every channel of the configuration."""

    def __init__(self) -> None:
        """Start with none."""
        self.channels: dict[str, ChannelAir] = {}
        self._core: Core | None = None
        self._offset = 0
        self._minute = 0

    def begin(self, start: Start, core: Core) -> None:
        """Take the next keeper's channels."""
        self._core, self._offset = core, start.offset
        self._minute = self._number(start.t)
        for name, channel in core.channels.items():
            self.channels.setdefault(name, ChannelAir(channel)).begin(channel)

    def _number(self, t: int) -> int:
        return (t + self._offset) // MINUTE

    def minute(self, t: int) -> None:
        """Take the sums of the minute that is over."""
        self._take()
        self._minute = self._number(t)

    def _take(self) -> None:
        if self._core is not None:
            for name, channel in self._core.channels.items():
                self.channels[name].take(channel, self._minute)

    def end(self, t: int) -> None:  # noqa: ARG002
        """Take the last minute of a keeper."""
        self._take()

    def finish(self) -> None:
        """Close every window at the end of the log."""
        for channel in self.channels.values():
            for window in channel.windows:
                window.finish()
