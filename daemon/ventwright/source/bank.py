"""Follows every assumed loss rate side by side, and weighs them by how well they explain the air.

It must not know what made the rates likely, nor what is switched.
"""

import math
from typing import Any, NamedTuple

from ventwright.source.rates import Assumed
from ventwright.source.tracking import Chances, Filter, Step, Track, mix

_LEAST_CHANCE = 1e-9
_DIGITS = 8


class Estimate(NamedTuple):
    """What is thought of the room now; per volume, standard deviations with it."""

    level: float
    """Above the baseline, the channel's unit."""
    level_sigma: float
    inflow: float
    """The channel's unit an hour."""
    inflow_sigma: float
    quiet: float
    """Chance that nothing emits, 0..1."""
    rate: float
    """Loss rate, 1/h."""
    rate_sigma: float
    still: float
    """The inflow while nothing emits."""
    still_sigma: float
    added: float
    """What extraction adds to the loss rate, 1/h."""


class Bank:
    """The rates of one time in which the same extractors run."""

    def __init__(
        self,
        assumed: Assumed,
        start: Filter,
        chances: Chances,
        still: float,
        doubts: tuple[float, float],
        before: float | None = None,
    ) -> None:
        """Start all rates from one estimate.

        `still` is the inflow of clean air per rate that extraction adds; `doubts` how uncertain the
        clean level is, without and with extraction, in the channel's unit; `before` the rate that
        extraction added until now, where that has changed: clean air then comes in otherwise.
        """
        self.assumed = assumed
        self.weights = list(assumed.chances)
        self.tracks = []
        for rate in assumed.rates:
            added = rate - assumed.natural if assumed.shares else rate
            doubt = (assumed.natural * doubts[0]) ** 2 + (added * doubts[1]) ** 2
            more = 0.0 if before is None else added - before
            x, g, xx, xg, gg = start
            own = x, g + still * more, xx, xg, gg + (more * doubts[1]) ** 2
            self.tracks.append(Track(rate, own, chances, still * added, doubt))

    def step(self, step: Step) -> None:
        """Take a step with every rate, and weigh them anew."""
        likely = [track.step(step) for track in self.tracks]
        if len(likely) == 1:
            return
        most = max(likely)
        weights = [w * math.exp(like - most) for w, like in zip(self.weights, likely, strict=True)]
        total = sum(weights)
        self.weights = [max(w / total, _LEAST_CHANCE) for w in weights]

    def filter(self) -> Filter:
        """Give level and inflow with their covariances, all rates taken together."""
        return mix(tuple(track.mixed() for track in self.tracks), tuple(self.weights))

    def chances(self) -> Chances:
        """Give the chances that nothing emits, that it emits evenly, that it changes."""
        found = [0.0, 0.0, 0.0]
        total = sum(self.weights)
        for track, weight in zip(self.tracks, self.weights, strict=True):
            for n, chance in enumerate(track.chances):
                found[n] += weight * chance / total
        return found[0], found[1], found[2]

    def moments(self, values: tuple[float, ...]) -> tuple[float, float]:
        """Give mean and standard deviation of something that each rate has a value of."""
        total = sum(self.weights)
        mean = sum(w * v for w, v in zip(self.weights, values, strict=True)) / total
        square = sum(w * (v - mean) ** 2 for w, v in zip(self.weights, values, strict=True))
        return mean, math.sqrt(square / total)

    def estimate(self) -> Estimate:
        """Tell what is thought of the room now."""
        x, g, xx, _, gg = self.filter()
        rate, spread = self.moments(self.assumed.rates)
        still = self.moments(tuple(t.filters[0][1] for t in self.tracks))[0]
        doubt = self.moments(tuple(t.filters[0][4] for t in self.tracks))[0]
        rate_sigma = math.hypot(spread, self.assumed.error * rate)
        return Estimate(
            x,
            math.sqrt(max(xx, 0.0)),
            g,
            math.sqrt(max(gg, 0.0) + (self.assumed.error * rate * x) ** 2),
            self.chances()[0],
            rate,
            rate_sigma,
            still,
            math.sqrt(max(doubt, 0.0)),
            self.added(),
        )

    def added(self) -> float:
        """Tell what extraction adds to the loss rate, 1/h: 0 while it is off."""
        rate = self.moments(self.assumed.rates)[0]
        return max(0.0, rate - self.assumed.natural) if len(self.tracks) > 1 else 0.0

    def save(self) -> dict[str, Any]:
        """Give all as plain JSON."""
        return {
            "assumed": list(self.assumed),
            "weights": [_short(w) for w in self.weights],
            "tracks": [
                [
                    [_short(v) for v in t.chances],
                    [[_short(v) for v in f] for f in t.filters],
                    _short(t.still),
                    _short(t.doubt),
                ]
                for t in self.tracks
            ],
        }

    @classmethod
    def restored(cls, saved: dict[str, Any]) -> "Bank":
        """Make one of what `save` gave; raises KeyError, TypeError or ValueError."""
        assumed = Assumed.restored(saved["assumed"])
        bank = cls(assumed, (0.0, 0.0, 1.0, 0.0, 1.0), (1.0, 0.0, 0.0), 0.0, (1.0, 1.0))
        bank.weights = list(saved["weights"])
        for track, kept in zip(bank.tracks, saved["tracks"], strict=True):
            one, two, three = kept[0]
            track.chances = one, two, three
            track.filters = tuple(tuple(f) for f in kept[1])  # type: ignore[assignment]
            track.still, track.doubt = kept[2], kept[3]
        return bank


def _short(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")
