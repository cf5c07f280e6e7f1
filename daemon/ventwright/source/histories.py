"""Follows one assumed loss rate through the likeliest histories that the source may have had.

A history tells when the source changed for the last time, and how it is since: nothing, even, or
rising or falling. Every step each may go on, or end in a new one. So a fan is judged by what no
change of the source explains (change points taken one by one, as R. P. Adams and D. J. C. MacKay
do it, arXiv:0710.3742, from memory). Constant cost: only the likeliest are kept.

Knows no channel, no extractor and no clock.
"""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

from ventwright.source.ramp import Bend, flat, ramped, update_ramp
from ventwright.source.tracking import Filter, Step, ahead_at, mix, update

KEPT = 8
_JUMPS, _ENDS, _KINKS, _LEVELS = 0.003, 0.003, 0.002, 0.003
"""Chances that in a step of 20 s a source jumps, that it ends, that it begins to rise or fall,
that a rise or fall is over: a change in an hour or two. Ours."""
_LOGS = {
    "even": math.log(_JUMPS),
    "quiet": math.log(_ENDS),
    "ramp": math.log(_KINKS),
    "level": math.log(_LEVELS),
}
_LEAST, _TELLS = 1e-300, 1e-3
_STAYS = math.log(1 - _JUMPS - _ENDS - _KINKS)

Kind = Literal["quiet", "even", "ramp"]


class History(NamedTuple):
    """One history: the logarithm of its chance, and what it says of the air."""

    chance: float
    kind: Kind
    air: Filter
    bend: Bend
    """How fast the inflow rises, with covariances; zero unless it does."""
    age: float
    """For how long it has been as it is, h."""


Mixed = tuple[float, Filter]
"""The logarithm of a chance, and what is thought of the air then."""


class Histories:
    """The likeliest histories at one loss rate."""

    __slots__ = ("_ahead", "_faint", "doubt", "kept", "rate", "still")

    def __init__(
        self, rate: float, still: float, doubt: float, least: float, kept: Sequence[History]
    ) -> None:
        """Follow `rate`, 1/h; `still` is the inflow while nothing emits, `doubt` its variance.

        An inflow of less than `least` beyond what may be clean air is none.
        """
        self.rate, self.still, self.doubt, self.kept = rate, still, doubt, list(kept)
        self._faint = still + math.sqrt(doubt) + least

    def step(self, step: Step) -> None:
        """Take a step: every history goes on, or the source changes or ends."""
        before, everything = self.kept, _mixed(self.kept)
        self._ahead = ahead_at(self.rate, step.hours)
        more = [self._goes(step, one, _STAYS, one.age + step.hours) for one in before]
        more.append(self._jumps(step, everything, "even"))
        more.append(self._kinks(step, everything, "ramp"))
        if emitting := [one for one in before if one.kind != "quiet"]:
            more.append(self._jumps(step, _mixed(emitting), "quiet"))
        if ramps := [one for one in before if one.kind == "ramp"]:
            more.append(self._kinks(step, _mixed(ramps), "even"))
        more.sort(reverse=True)
        self.kept = more[:KEPT]

    def _goes(self, step: Step, one: History, cost: float, age: float) -> History:
        chance, kind, air, bend, _ = one
        gain, delay = 0.0 if kind == "quiet" else step.calm, step.delay + step.lag
        if kind == "ramp":
            air, bend, likely = update_ramp(air, bend, self._ahead, step, gain, delay)
        else:
            air, likely = update(air, self._ahead, step, gain, delay)
        return History(chance + cost + likely, kind, air, bend, age)

    def _jumps(self, step: Step, before: Mixed, kind: Kind) -> History:
        """Let the source become another, or none, whatever it was: what came before is mixed."""
        chance, (x, _, xx, _, _) = before
        late = (step.lag * self.rate * x) ** 2
        doubt = self.doubt + (0.0 if kind == "quiet" else step.wild)
        air = x, self.still, xx + late, 0.0, doubt
        return self._goes(step, History(chance, kind, air, flat(), 0.0), _LOGS[kind], 0.0)

    def _kinks(self, step: Step, before: Mixed, kind: Kind) -> History:
        """Let the source begin to rise or fall evenly, or go on evenly, from where it is."""
        chance, air = before
        bend, cost = (ramped(step.steep), "ramp") if kind == "ramp" else (flat(), "level")
        return self._goes(step, History(chance, kind, air, bend, 0.0), _LOGS[cost], 0.0)

    def shift(self, more: float) -> None:
        """Let all be likelier by a logarithm."""
        self.kept = [one._replace(chance=one.chance + more) for one in self.kept]

    def fit(self) -> tuple[float, float, float]:
        """Tell how well all explain what was seen, a logarithm; none may take anything in.

        With it the chance that nothing emits, and for how long nothing then has, h. What a history
        says of the inflow is spread to both sides; the part that lies below clean air counts for
        nothing, and the other twice, as it should have from the beginning.
        """
        most = max(one.chance for one in self.kept)
        total = quiet = dated = age = 0.0
        for one in self.kept:
            weight = self._weight(one, most)
            total += weight
            if one.kind == "quiet" or one.air[1] < self._faint:
                quiet += weight
                if one.kind != "ramp":  # what fades has been fading for longer than it is gone
                    dated += weight
                    age += weight * one.age
        total = max(total, _LEAST)
        return most + math.log(total), quiet / total, age / dated if dated else 0.0

    def _weight(self, one: History, most: float) -> float:
        weight = math.exp(one.chance - most)
        if one.kind == "quiet":
            return weight
        spread = math.sqrt(max(one.air[4], 1e-9) + self.doubt)
        return weight * math.erfc((self.still - one.air[1]) / spread / math.sqrt(2))


def _mixed(before: Sequence[History]) -> Mixed:
    """Mix histories; gives also the logarithm of their chance together."""
    if len(before) == 1:
        return before[0].chance, before[0].air
    most = max(one.chance for one in before)
    likely = [(one.air, math.exp(one.chance - most)) for one in before]
    near = [(air, weight) for air, weight in likely if weight > _TELLS]
    airs, weights = zip(*near, strict=True)
    return most + math.log(sum(weights)), mix(airs, weights)
