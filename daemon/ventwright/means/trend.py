"""How fast a channel's mean rises: the mean over a time now against that of a minute before."""

from ventwright.means.channel import Channel
from ventwright.settings.model import MINUTE


class Trend:
    """The trend of one rolling mean."""

    def __init__(self, channel: Channel, over: int) -> None:
        """Follow the mean over `over` ms; it sees what is added from now on."""
        self._channel = channel
        self._over = over
        self._minute = channel.history.window(MINUTE)
        self._both = channel.history.window(over + MINUTE)

    def rise(self, t: int, mean: float, coverage: float) -> float:
        """Give by how much `mean`, that of now, rose within a minute, in the channel's unit.

        It is 0 where it fell, and where the coverage of the mean of a minute ago is not reached.
        """
        last = self._channel.history.last
        if last is None or not self._channel.speaks(t):
            return 0.0
        area, cover = self._both.sums(last)
        later_area, later_cover = self._minute.sums(last)
        cover -= later_cover
        if cover < max(1.0, coverage * self._over):
            return 0.0
        return max(0.0, mean - (area - later_area) / cover / self._channel.per_unit)
