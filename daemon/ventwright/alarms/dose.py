"""The dose of an episode: the integral of the mean, or of the rise, while the condition holds.

Kept at constant cost: the history has the running sums, only where they began is remembered.
"""

from typing import Any

from ventwright.means.channel import Channel
from ventwright.settings.model import HOUR

DOSED = frozenset({"mean", "rise", "forecast"})
"""The comparisons of which a dose can be told; that of a rise is over the baseline at its begin."""


class Dose:
    """What one alarm's channel has seen since the episode began."""

    def __init__(self, channel: Channel, compare: str) -> None:
        """Start without an episode."""
        self._channel = channel
        self._rise = compare == "rise"
        self._told = compare in DOSED
        self._from = (0, 0)
        self._base = 0.0

    def begin(self) -> None:
        """Let an episode begin now."""
        history = self._channel.history
        self._from = (history.area, history.cover)
        self._base = (self._channel.baseline.steps or 0.0) if self._rise else 0.0

    @property
    def value(self) -> float | None:
        """Unit times hours since the begin, at least 0; None for rate and silence."""
        if not self._told:
            return None
        area, cover = self._sums()
        return max(0.0, area - self._base * cover) / self._channel.per_unit / HOUR

    def _sums(self) -> tuple[int, int]:
        history = self._channel.history
        return history.area - self._from[0], history.cover - self._from[1]

    def save(self) -> list[Any]:
        """Give what must survive a restart, as plain JSON."""
        return [*self._sums(), self._base]

    def restore(self, saved: list[Any]) -> None:
        """Take back what `save` gave; the history may have begun anew."""
        history = self._channel.history
        self._from = (history.area - saved[0], history.cover - saved[1])
        self._base = saved[2]

    def catch_up(self) -> None:
        """Add what was stored after the save: what the history got from its seam on."""
        if self._channel.seam is not None:
            history, seam = self._channel.history, self._channel.seam
            self._from = (
                self._from[0] - (history.area - seam[0]),
                self._from[1] - (history.cover - seam[1]),
            )
