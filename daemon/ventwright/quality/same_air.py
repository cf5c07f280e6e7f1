"""Parts that measure the same air: whether they agree, and which counts while they do not.

Two channels are compared by their means over five minutes. When these have been further apart than
the tolerance for ten minutes both are marked, and only the higher one is judged, until they have
agreed again for ten minutes; where the higher one falls silent the other counts again.
"""

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from ventwright.alarms.condition import Condition
from ventwright.means.channel import Channel, reach_of
from ventwright.means.history import History
from ventwright.quality.marks import Quality
from ventwright.settings.model import MINUTE
from ventwright.settings.model import SameAir as Settings

OVER_MS = 5 * MINUTE
DELAY_MS = 10 * MINUTE
_COVERED_MS = OVER_MS * 3 // 4
_AGREED = 0.2
"""They agree again below this share less than the tolerance."""

Steps = tuple[int | None, ...]


class News(NamedTuple):
    """Two channels began to disagree, or agree again."""

    pair: str
    body: dict[str, Any]


class _Side:
    """One channel of a pair: all its own good readings, judged or not."""

    def __init__(self, channel: Channel, period: int) -> None:
        self.name = channel.name
        self.per_unit, self.unit = channel.per_unit, channel.quantity.unit
        self._reach = reach_of(period)
        self.history = History(period, self._reach)
        self._window = self.history.window(OVER_MS)

    def speaks(self, t: int) -> bool:
        last = self.history.last
        return last is not None and t - last <= self._reach

    def mean(self, t: int) -> float | None:
        end = self.history.last if self.speaks(t) else t
        area, cover = self._window.sums(t if end is None else end)
        return area / cover / self.per_unit if cover >= _COVERED_MS else None


class Pair:
    """Two channels of the same air."""

    def __init__(self, name: str, settings: Settings, sides: tuple[_Side, _Side]) -> None:
        """Start in agreement."""
        self.name = name
        self.sides = sides
        self._settings = settings
        self._apart = Condition(1.0, _AGREED, DELAY_MS, DELAY_MS)
        self.higher = 0
        """The side that was the higher one when they were last apart."""

    @property
    def disagreeing(self) -> bool:
        """Whether both are marked."""
        return self._apart.active

    def compare(self, t: int) -> dict[str, Any] | None:
        """Compare at `t` ms; returns what is to be told if this changes anything."""
        a, b = (side.mean(t) for side in self.sides)
        ratio = None if a is None or b is None else self._ratio(a, b)
        if ratio is not None and ratio >= 1:
            self.higher = 0 if a > b else 1  # type: ignore[operator]
        return self._body((a, b)) if self._apart.update(t, ratio) else None

    def _ratio(self, a: float, b: float) -> float:
        """How far apart two means are, in tolerances."""
        tolerance = max(self._settings.tolerance, self._settings.share * max(a, b))
        return abs(a - b) / tolerance

    def _body(self, means: tuple[float | None, float | None]) -> dict[str, Any]:
        return {
            "change": "disagree" if self.disagreeing else "agree",
            "channels": [side.name for side in self.sides],
            "means": [None if mean is None else round(mean, 3) for mean in means],
            "unit": self.sides[0].unit,
            "over": OVER_MS,
            "counts": self.sides[self.higher].name,
        }

    def counts(self, side: int, t: int) -> bool:
        """Tell whether a side is judged at `t` ms."""
        return not self.disagreeing or self.outranks(side, t)

    def outranks(self, side: int, t: int) -> bool:
        """Tell whether a side is judged at `t` ms while they disagree."""
        return side == self.higher or not self.sides[1 - side].speaks(t)

    def save(self) -> dict[str, Any]:
        """Give what must survive a restart, as plain JSON."""
        return {"disagreeing": self.disagreeing, "counts": self.sides[self.higher].name}

    def restore(self, saved: dict[str, Any]) -> None:
        """Take back what `save` gave."""
        self._apart.active = saved["disagreeing"]
        self.higher = int(saved["counts"] == self.sides[1].name)


class SameAir:
    """All pairs of the configuration."""

    def __init__(
        self,
        settings: Mapping[str, Settings],
        channels: Mapping[str, Channel],
        periods: Mapping[str, int],
    ) -> None:
        """Take the pairs, the channels by name and the periods (ms) of the parts."""
        self.pairs = {name: _pair(name, one, channels, periods) for name, one in settings.items()}
        self._of = {
            side.name: (pair, number)
            for pair in self.pairs.values()
            for number, side in enumerate(pair.sides)
        }
        self.parts = {name.partition(".")[0] for name in self._of}

    def take(
        self, channels: Iterable[Channel], t: int, steps: Steps, marks: bytes
    ) -> tuple[bytes, list[News]]:
        """Take a sample of a part that is in a pair; returns the marks to store, and news."""
        changed, news = bytearray(marks), []
        for place, channel in enumerate(channels):
            if channel.name not in self._of or marks[place] not in _OWN_GOOD:
                continue
            pair, side = self._of[channel.name]
            pair.sides[side].history.add(t, steps[place])  # type: ignore[arg-type]
            if body := pair.compare(t):
                news.append(News(pair.name, body))
            changed[place] = Quality.INCONSISTENT_PARTS if pair.disagreeing else Quality.GOOD
        return bytes(changed), news

    def counts(self, channel: str, t: int) -> bool:
        """Tell whether a channel that is marked as disagreeing is judged at `t` ms."""
        found = self._of.get(channel)
        return found is None or found[0].counts(found[1], t)

    def save(self) -> dict[str, Any]:
        """Give what must survive a restart, as plain JSON."""
        return {name: pair.save() for name, pair in self.pairs.items()}

    def restore(self, saved: dict[str, Any]) -> None:
        """Take back what `save` gave, as far as the pairs are still configured."""
        for name, pair in self.pairs.items():
            if name in saved:
                pair.restore(saved[name])

    def counted(self, channel: str) -> bool:
        """Tell whether stored readings with the mark were judged: those of the higher side."""
        found = self._of.get(channel)
        return found is None or found[0].higher == found[1]


_OWN_GOOD = frozenset({Quality.GOOD, Quality.INCONSISTENT_PARTS})


def _pair(
    name: str, settings: Settings, channels: Mapping[str, Channel], periods: Mapping[str, int]
) -> Pair:
    first, second = (
        _Side(channels[one], periods[one.partition(".")[0]]) for one in settings.channels
    )
    return Pair(name, settings, (first, second))
