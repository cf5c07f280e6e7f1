"""A rehearsal of commissioning: the real walk asks the real keeper; only the person is played.

The room's truth is known, so one can see how near the walk comes. Amounts are invented.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from ventwright.commissioning.levels import Levels, stored
from ventwright.commissioning.measuring import Wanted, plan, walked
from ventwright.commissioning.verdict import lines, told
from ventwright.rehearsal.emission import Spell
from ventwright.rehearsal.room import Pollutant
from ventwright.rehearsal.scenario import DEFAULT, PartSetup
from ventwright.rehearsal.sensing import Sense
from ventwright.rehearsal.visitor import Visitor
from ventwright.settings.model import Settings
from ventwright.settings.plan import read_settings

SETTLING = 0.4
"""1/h, of the one kind of dust that is here."""

_EMPTY = ("middle", "coarse")
_SEEN = {"fine": Sense(8.0, 1.03, 0.03, 0.3)}
_SEEN_TOO = {"fine": Sense(10.0, 0.96, 0.04, 0.3)}
_WARM_UP_S = 120
_SOURCE_S = 300
_SOURCE = {"fine": 60_000.0}

COMMISSIONING = replace(
    DEFAULT,
    name="commissioning",
    title="commissioning one extractor in a workshop of 45 m³",
    duration=4 * 3600,
    spells=(),
    pollutants=(
        Pollutant("fine", 4.0, 9.0, 0.8, SETTLING),
        *(Pollutant(name) for name in _EMPTY),
    ),
    parts=(
        PartSetup("bench", "pms5003", "serial", _SEEN),
        PartSetup("shelf", "sds011", "serial", _SEEN_TOO),
    ),
    alarms={"print": DEFAULT.alarms["print"]},
)

TRUTH = {
    "natural": COMMISSIONING.leakage + SETTLING,
    "clearance": COMMISSIONING.leakage + SETTLING + COMMISSIONING.exhaust / COMMISSIONING.volume,
    "clean_air": COMMISSIONING.exhaust,
}
"""1/h, 1/h and m³/h."""


def visit(visitor: Visitor) -> None:
    """Commission the extractor as an owner would, and hand the result over."""
    visitor.wait(_WARM_UP_S)
    place = _Played(visitor)
    wanted = plan(place.settings, Wanted())
    for one in walked(place.settings, place, wanted):
        for line in lines(one):
            visitor.say(line)
        said = (
            {"says": "nothing was kept"}
            if one.against
            else visitor.ask("commissioned", **one.words())
        )
        visitor.say(str(said["says"]))
        visitor.told.append({**told(one), "truth": TRUTH, "says": said["says"]})


class _Played:
    """The Place of the walk: the visitor's time, and a person who does what is asked at once."""

    def __init__(self, visitor: Visitor) -> None:
        self._visitor = visitor
        self.settings: Settings = read_settings(visitor.store.parent / "ventwright.toml")

    def ask(self, verb: str, **words: Any) -> dict[str, Any]:
        return self._visitor.ask(verb, **words)

    def levels(self, channels: Sequence[str], begins: int, ends: int) -> dict[str, Levels]:
        return stored(self._visitor.store, self.settings, channels, begins, ends)

    def wait(self, seconds: float) -> None:
        self._visitor.wait(seconds)

    def say(self, text: str) -> None:
        self._visitor.say(text)

    def confirm(self, text: str, meanwhile: Callable[[], None]) -> None:
        """Let something emit for five minutes, and say that it is over."""
        self._visitor.say(text)
        now = self._visitor.now()
        self._visitor.emit([Spell("something smokes", now, now + _SOURCE_S, _SOURCE)])
        for _ in range(_SOURCE_S // 60 + 1):
            self._visitor.wait(60)
            meanwhile()
