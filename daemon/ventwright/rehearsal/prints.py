"""A rehearsal of test prints: two materials, door open and closed, three prints of each.

The real guide asks the real keeper; only who presses Enter is played. What each print truly
emitted is kept beside it, so that one can see how near the analysis comes. Amounts are invented.
"""

import math
import random
from dataclasses import replace

from ventwright.rehearsal.emission import Print, Spell
from ventwright.rehearsal.room import Pollutant
from ventwright.rehearsal.scenario import DEFAULT, PartSetup
from ventwright.rehearsal.sensing import Sense
from ventwright.rehearsal.visitor import Visitor
from ventwright.settings.model import MINUTE
from ventwright.trials.guide import Guide, Plan

_DUST = {band: Sense(8.0, 1.0, 0.03, 0.3) for band in ("fine", "middle", "coarse")}

_CLEAN_DAY = {
    "fine": (1.11, 2.5),
    "middle": (0.18, 0.5),
    "coarse": (0.36, 3.0),
}
"""A day on which the air outside is clean enough to flush with: start and outdoor level."""


def _clean(pollutant: Pollutant) -> Pollutant:
    start, outdoor = _CLEAN_DAY[pollutant.name]
    return replace(pollutant, start=start, outdoor=outdoor)


TEST_PRINTS = replace(
    DEFAULT,
    name="test-prints",
    title="twelve test prints of two materials in a workshop of 45 m³",
    duration=86_400,
    spells=(),
    pollutants=tuple(_clean(p) for p in DEFAULT.pollutants if p.name in _CLEAN_DAY),
    parts=(PartSetup("bench", "pms5003", "serial", _DUST),),
    alarms={
        "fumes": {
            "channel": "bench.pm2_5",
            "compare": "rise",
            "over": "1 min",
            "setpoint": 250.0,
            "deadband": 50.0,
            "priority": "medium",
        }
    },
)
"""The only alarm is far above what these prints do: extraction is held off in them anyway."""

CEILING = 200.0
GRAMS = 14.0
PRINT_MIN = 30
SPREAD = 1.25
"""By what factor prints of one condition spread (geometric)."""

_WARM_UP_S = 120
_LOOK_S = 30.0
MATERIALS = {"pla": 35.0, "abs": 140.0}
"""PM2.5 emitted a gram, µg: as an optical part might see it."""

DOORS = {"closed": 0.9, "open": 1.0}
"""A closed door without a filter holds back little: what emission studies found varies."""


def visit(visitor: Visitor) -> None:
    """Make the prints, conditions taken in turn, as a careful owner would."""
    visitor.wait(_WARM_UP_S)
    dice = random.Random("test prints")  # noqa: S311 - spread of prints, no secret
    for repeat in (1, 2, 3):
        for material, amount in MATERIALS.items():
            for door, share in DOORS.items():
                factor = math.exp(dice.gauss(0.0, math.log(SPREAD)))
                labels = {"material": material, "door": door, "grams": f"{GRAMS:g}"}
                emitted = amount * share * factor * GRAMS
                _trial(visitor, f"{material}-{door}-{repeat}", labels, emitted)


def _trial(visitor: Visitor, name: str, labels: dict[str, str], emitted: float) -> None:
    """Guide one print through that emits so much PM2.5, µg."""
    plan = Plan(
        name,
        "bench.pm2_5",
        CEILING,
        labels,
        background=12 * MINUTE,
        decay=55 * MINUTE,
        look_s=_LOOK_S,
    )
    desk = _Desk(visitor, emitted)
    Guide(plan, visitor.ask, desk).run()
    visitor.told.append({"name": name, "labels": labels, "emitted": round(emitted, 1)})


class _Desk:
    """Who stands at the printer: starts the print when asked to, and says when it has ended."""

    def __init__(self, visitor: Visitor, emitted: float) -> None:
        self._visitor = visitor
        self._emitted = emitted
        self._ends = 0
        self._asked = False

    def say(self, text: str) -> None:
        """Pass on what the guide says, and do what it asks for."""
        self._visitor.say(text)
        self._asked = "press Enter" in text

    def now(self) -> float:
        """Tell the time, s."""
        return self._visitor.now()

    def wait(self, seconds: float) -> bool:
        """Start the print when asked, answer when it has ended, else let the time pass."""
        now = self._visitor.now()
        if self._asked:
            self._asked = False
            self._ends = now + 60 * PRINT_MIN
            self._visitor.emit(_spells(now, self._emitted))
            return True
        left = self._ends - now
        self._visitor.wait(min(seconds, left) if left > 0 else seconds)
        return left > 0 and self._visitor.now() >= self._ends


def _spells(begins: int, emitted: float) -> list[Spell]:
    """Lay out a print that emits so much in all: a third in the burst, the rest on the plateau."""
    lasts = 60 * PRINT_MIN
    burst, plateau = emitted / 3 / (180 / 3600), emitted * 2 / 3 / ((lasts - 780 + 54) / 3600)
    shares = {"fine": 0.93, "middle": 0.07}

    def of(rate: float) -> dict[str, float]:
        return {band: rate * share for band, share in shares.items()}

    return list(Print(begins, lasts, of(burst), of(plateau)).spells())
