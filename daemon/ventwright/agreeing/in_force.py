"""Which calibration stored values have in them, and what they would be with the one of now.

Every start of the keeper records the calibrations that are in force from then on. Knows starts and
calibrations; knows no pair and no fit.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence

from ventwright.quality.calibration import Moved
from ventwright.settings.model import Calibration, PartEntry
from ventwright.storage.reader import Reader

_NONE = Calibration()


class InForce:
    """The calibrations of one channel, by time."""

    def __init__(
        self, name: str, now: Calibration, since: Sequence[tuple[int, Calibration]]
    ) -> None:
        """Take the channel, what the configuration says, and what held since when (Unix ms)."""
        self._times = [t for t, _ in since]
        self._moves = [Moved(name, one, now) for _, one in since]

    def as_now(self, t: int, step: int) -> int:
        """Give a stored step of `t` (Unix ms) as it would be by the configuration of now.

        What was stored before the first start that says is taken to be like what came with it;
        if none says, to have the calibration of now in it.
        """
        place = max(0, bisect_right(self._times, t) - 1)
        return self._moves[place](step) if self._moves else step


def in_force(reader: Reader, parts: Mapping[str, PartEntry], name: str) -> InForce:
    """Read which calibrations of a channel were in force when; raises sqlite3.Error."""
    part, _, quantity = name.partition(".")
    boots = reader.boots()
    since = [
        (event.t + boots[event.boot].offset, Calibration(*said.get(name, ())))
        for event in reader.events_of("keeper")
        if isinstance(said := event.body.get("calibration"), dict)
    ]
    now = parts[part].calibration.get(quantity, _NONE)
    return InForce(name, now, sorted(since, key=lambda one: one[0]))
