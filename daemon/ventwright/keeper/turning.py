"""Whether the fans turn that are switched on, where a tachometer tells.

A relay that obeys is no fan that turns: a belt, a fuse, a blade in the way. Knows channels and
extractors; what comes of it is told, and nothing is decided by it.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ventwright.extraction.extractor import Extractor
from ventwright.means.channel import Channel
from ventwright.settings.model import SECOND, Settings

_SPIN_UP, _SPIN_DOWN = 20 * SECOND, 60 * SECOND
"""How long a fan may take to turn, and to come to rest; ours, for fans of up to half a metre."""


class Turning:
    """All fans that have a tachometer."""

    def __init__(self, settings: Settings, channels: Mapping[str, Channel]) -> None:
        """Know nothing of them yet."""
        self._channels = {
            name: channels[entry.turns]
            for name, entry in settings.extractors.items()
            if entry.turns is not None and entry.turns in channels
        }
        self._failing: set[str] = set()

    def speed(self, name: str, t: int) -> float | None:
        """Give the speed of an extractor's fan at `t` ms, 1/min; None where it is not known."""
        channel = self._channels.get(name)
        return channel.last_value if channel and channel.speaks(t) else None

    def look(self, extractors: Iterable[Extractor], t: int) -> Iterator[tuple[str, dict[str, Any]]]:
        """Give what is new at `t` ms, by extractor, as the body of a record."""
        if not self._channels:
            return
        for extractor in extractors:
            speed, settings = self.speed(extractor.name, t), extractor.settings
            settled = t - extractor.switched >= (_SPIN_UP if extractor.on else _SPIN_DOWN)
            if speed is None or not settled:
                continue
            wrong = (speed >= settings.slowest) != extractor.on
            if wrong != (extractor.name in self._failing):
                self._failing ^= {extractor.name}
                yield extractor.name, _body(extractor, speed, wrong)


def _body(extractor: Extractor, speed: float, wrong: bool) -> dict[str, Any]:
    word = "on" if extractor.on else "off"
    turns = f"turns at {speed:.0f} 1/min" if speed >= extractor.settings.slowest else "stands still"
    why = f"it is switched {word}, and {turns}" if wrong else ""
    return {"change": "failed" if wrong else "back", "why": why, "speed": speed, "on": extractor.on}
