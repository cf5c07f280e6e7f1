"""A healthy extractor against a weak one: which explains the air better, whatever the source did.

Follows shares of the commissioned clearance side by side. What the source emitted before the
extractor started is known from the natural loss rate, and goes on where nothing speaks against it.

Knows no channel and no fan.
"""

import math
from typing import Any

from ventwright.source.histories import Histories, History
from ventwright.source.ramp import flat
from ventwright.source.rates import TRUST, Assumed
from ventwright.source.tracking import Filter, Step

HEALTHY = (0.8, 0.9, 1.0, 1.1, 1.25)
WEAK = (0.2, 0.35, 0.5, 0.65)
_QUIET = math.log(0.9), math.log(0.1)
_DIGITS = 8
_FARTHEST, _LARGE = 18.0, 1000.0
"""Logarithms: no share is ever less likely than that; and when to count anew from nought."""

Doubts = tuple[float, float]
"""How uncertain the clean level is, without and with extraction, in the channel's unit."""


class Contest:
    """The shares of the commissioned clearance that may be there while the same extractors run."""

    def __init__(
        self, assumed: Assumed, start: Filter, still: float, doubts: Doubts, least: float
    ) -> None:
        """Start all from one estimate; `still` is the inflow of clean air per rate added.

        An inflow of less than `least` beyond what may be clean air is none.
        """
        self._chances: tuple[float, ...] = (1.0,)
        self.quiet = 0.9
        """Chance that nothing emits, 0..1."""
        self.age = 0.0
        """For how long nothing has, if so, h."""
        self._assumed, self._still, self._doubts, self._least = assumed, still, doubts, least
        x, g, xx, _, gg = start
        doubt = (assumed.natural * doubts[0]) ** 2
        quiet = History(_QUIET[0], "quiet", (x, 0.0, xx, 0.0, doubt), flat(), 0.0)
        even = History(_QUIET[1], "even", (x, g, xx, 0.0, gg), flat(), 0.0)
        self._begin([quiet, even], assumed.natural)

    def _begin(self, kept: list[History], rate: float) -> None:
        """Follow every share from the same histories, which were those of one `rate` so far."""
        shares = (*HEALTHY, *WEAK) if self._assumed.shares else (0.0,)
        self.shares = shares
        self._priors = _priors(self._assumed.doubt) if self._assumed.shares else (0.0,)
        self._sides = [self._side(share, kept, rate) for share in shares]
        self._weigh()

    def _side(self, share: float, kept: list[History], before: float) -> Histories:
        added = share * self._assumed.added
        rate, more = self._assumed.natural + added, self._assumed.natural + added - before
        still, (clean, moved) = self._still * added, self._doubts
        doubt = (self._assumed.natural * clean) ** 2 + (added * moved) ** 2
        most = max(one.chance for one in kept)
        turned = []
        for one in kept:
            x, g, xx, xg, gg = one.air
            air = x, still, xx, 0.0, doubt
            if one.kind != "quiet":
                air = x, g + self._still * more, xx, xg, gg + (more * moved) ** 2
            turned.append(one._replace(chance=one.chance - most, air=air))
        return Histories(rate, still, doubt, self._least, turned)

    def turn(self, assumed: Assumed, still: float) -> None:
        """Go on from the likeliest share: extractors were switched."""
        best = self._sides[self._chances.index(max(self._chances))]
        self._assumed, self._still = assumed, still
        self._begin(best.kept, best.rate)

    def step(self, step: Step) -> None:
        """Take a step with every share."""
        for side in self._sides:
            side.step(step)
        self._weigh()

    def _weigh(self) -> None:
        self._level()
        fits = [side.fit() for side in self._sides]
        logs = [prior + fit[0] for prior, fit in zip(self._priors, fits, strict=True)]
        most = max(logs)
        weights = [math.exp(one - most) for one in logs]
        total = sum(weights)
        self._chances = tuple(weight / total for weight in weights)
        quiet = sum(c * fit[1] for c, fit in zip(self._chances, fits, strict=True))
        self.quiet = min(1.0, quiet)  # a sum of shares may exceed 1 by its last digit
        self.age = fits[weights.index(max(weights))][2]

    def _level(self) -> None:
        """Let no share fall so far behind that it could not come back: fans fail later, too."""
        best = [max(one.chance for one in side.kept) for side in self._sides]
        most = max(best)
        for side, chance in zip(self._sides, best, strict=True):
            more = max(0.0, most - _FARTHEST - chance)
            if abs(most) > _LARGE:
                more -= most
            if more:
                side.shift(more)

    def found(self) -> tuple[float, float, float] | None:
        """Tell share, its standard deviation and the chance that it is weak; None while off."""
        if not self._assumed.shares:
            return None
        both = list(zip(self._chances, self.shares, strict=True))
        mean = sum(chance * share for chance, share in both)
        square = sum(chance * (share - mean) ** 2 for chance, share in both)
        return mean, math.sqrt(square), sum(self._chances[len(HEALTHY) :])

    def save(self) -> dict[str, Any]:
        """Give all as plain JSON."""
        return {
            "assumed": list(self._assumed),
            "still": self._still,
            "sides": [[_saved(one) for one in side.kept] for side in self._sides],
        }

    @classmethod
    def restored(cls, saved: dict[str, Any], doubts: Doubts, least: float) -> "Contest":
        """Make one of what `save` gave; raises KeyError, TypeError or ValueError."""
        assumed = Assumed.restored(saved["assumed"])
        contest = cls(assumed, (0.0, 0.0, 1.0, 0.0, 1.0), saved["still"], doubts, least)
        for side, kept in zip(contest._sides, saved["sides"], strict=True):
            side.kept = [_restored(one) for one in kept]
        contest._weigh()
        return contest


def _saved(one: History) -> list[Any]:
    numbers = (one.chance, one.age, *one.air, *one.bend)
    return [one.kind, *(float(f"{v:.{_DIGITS}g}") for v in numbers)]


def _restored(saved: list[Any]) -> History:
    kind, chance, age, x, g, xx, xg, gg, r, xr, gr, rr = saved
    return History(chance, kind, (x, g, xx, xg, gg), (r, xr, gr, rr), age)


def _priors(doubt: float) -> tuple[float, ...]:
    """Give the logarithms of the chances of all shares; weak and healthy are equally likely."""
    spread = math.hypot(doubt, TRUST)
    bells = [math.exp(-(((share - 1) / spread) ** 2) / 2) for share in HEALTHY]
    healthy = [math.log(max(bell / sum(bells), 1e-12)) for bell in bells]
    return (*healthy, *(math.log(1 / len(WEAK)) for _ in WEAK))
