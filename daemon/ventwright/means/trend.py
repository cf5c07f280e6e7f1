"""How fast a channel's mean rises: the mean over a time now against that of a minute before."""

from ventwright.means.channel import Channel
from ventwright.settings.model import MINUTE


class Trend:
    """The trend of one rolling mean."""

    def __init__(self, channel: Channel, over: int) -> None:
        """Follow the mean over `over` ms; it sees what is added from now on."""
        self._channel = channel
        self._over = over
        windows = (over, MINUTE, over + MINUTE)
        self._windows = [channel.history.window(length) for length in windows]

    def rise(self, t: int, coverage: float) -> float:
        """Give the rise of the mean within a minute, in the channel's unit; 0 where it fell.

        It is 0 as well where the coverage of either mean is not reached.
        """
        last = self._channel.history.last
        if last is None or not self._channel.speaks(t):
            return 0.0
        now, minute, both = [window.sums(last) for window in self._windows]
        area, cover = both[0] - minute[0], both[1] - minute[1]
        if min(now[1], cover) < max(1.0, coverage * self._over):
            return 0.0
        return max(0.0, now[0] / now[1] - area / cover) / self._channel.per_unit
