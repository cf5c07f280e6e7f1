"""What the levels of a phase say: background, loss rate, whether the air was mixed.

Takes levels and times, returns figures and the reasons why not; knows no store, keeper or clock.
"""

from math import fsum, sqrt
from typing import NamedTuple

from ventwright.commissioning.levels import Levels
from ventwright.mixing.decay import Decay, fit_decay
from ventwright.standards.distributions import t_quantile

HOUR_MS = 3_600_000
_THIRDS = 3
_UNLIKE = 0.15
_SURE = 2.0


class Background(NamedTuple):
    """What the room shows without a source, with its standard error, in the channel's unit."""

    level: float
    error: float


class Rate(NamedTuple):
    """A loss rate, 1/h, from one decay or several, and why it should not be used, if so."""

    rate: float
    error: float
    low: float
    high: float
    points: int
    r2: float
    why: tuple[str, ...]
    decays: tuple[Decay, ...] = ()

    @property
    def half(self) -> float:
        """Half of the interval, which few points or decays make wider than 1.96 errors."""
        return self.high - self.rate

    @property
    def words(self) -> str:
        """Say it: `5.34 /h (95 %: 5.17 to 5.51)`."""
        return f"{self.rate:.3g} /h (95 %: {self.low:.3g} to {self.high:.3g})"


def background(levels: Levels) -> Background:
    """Take the mean, and as its error what it drifted or scattered, whichever is more.

    Six levels at least, else ValueError.
    """
    if len(levels) < 2 * _THIRDS:
        raise ValueError(f"only {len(levels)} levels of the background, {2 * _THIRDS} are needed")
    values = [value for _, value in levels]
    count = len(values) // _THIRDS
    drift = abs(_mean(values[-count:]) - _mean(values[:count]))
    mean = _mean(values)
    scatter = sqrt(fsum((value - mean) ** 2 for value in values)) / len(values)
    return Background(mean, max(scatter, drift / 2))


def _mean(values: list[float]) -> float:
    return fsum(values) / len(values)


def decay(levels: Levels, known: Background | None) -> Decay:
    """Fit the decay of a phase, the background known or free; raises ValueError with a sentence."""
    if not levels:
        raise ValueError("no good readings in this time")
    first = levels[0][0]
    hours = [(t - first) / HOUR_MS for t, _ in levels]
    values = [value for _, value in levels]
    if known is None:
        return fit_decay(hours, values)
    return fit_decay(hours, values, known.level, known.error)


def rate(channel: str, levels: dict[str, Levels], known: dict[str, Background]) -> Rate:
    """Measure a loss rate by `channel`, and whether the other channels in `levels` saw the same.

    A background that is not `known` is fitted. Never raises: what goes wrong is in `why`.
    """
    own = levels.get(channel, [])
    try:
        found = decay(own, known.get(channel))
    except ValueError as error:
        return Rate(0.0, 0.0, 0.0, 0.0, len(own), 0.0, (str(error),))
    others = {name: them for name, them in levels.items() if name != channel}
    why = (*found.why, *_unlike(found, known, others))
    return Rate(
        found.rate, found.error, found.low, found.high, found.points, found.r2, why, (found,)
    )


def _unlike(found: Decay, known: dict[str, Background], beside: dict[str, Levels]) -> list[str]:
    said = []
    for channel, levels in beside.items():
        try:
            other = decay(levels, known.get(channel))
        except ValueError:
            continue
        apart = abs(other.rate - found.rate)
        unsure = _SURE * sqrt(other.error**2 + found.error**2)
        if apart > max(unsure, _UNLIKE * found.rate):
            said.append(
                f"the air is not mixed: {channel} falls by {other.rate:.3g} /h and this part by "
                f"{found.rate:.3g} /h; let a small fan stir the room"
            )
    return said


def together(rates: list[Rate]) -> Rate:
    """Take several measurements of one rate together, each as sure as it is and they agree.

    One at least. Source: weighted mean with a variance between them (random effects, method of
    moments; from memory).
    """
    weights = [1 / one.error**2 for one in rates]
    mean = fsum(w * one.rate for w, one in zip(weights, rates, strict=True)) / fsum(weights)
    spread = _between(rates, weights, mean)
    weights = [1 / (one.error**2 + spread) for one in rates]
    mean = fsum(w * one.rate for w, one in zip(weights, rates, strict=True)) / fsum(weights)
    error = 1 / sqrt(fsum(weights))
    half = error * (t_quantile(0.95, len(rates) - 1) if len(rates) > 1 else _half(rates[0]))
    decays = tuple(one for many in rates for one in many.decays)
    points, r2 = sum(one.points for one in rates), min(one.r2 for one in rates)
    return Rate(mean, error, max(0.0, mean - half), mean + half, points, r2, (), decays)


def _half(one: Rate) -> float:
    return one.half / one.error


def _between(rates: list[Rate], weights: list[float], mean: float) -> float:
    """Give the variance between measurements beyond their own errors, (1/h)²."""
    excess = fsum(w * (one.rate - mean) ** 2 for w, one in zip(weights, rates, strict=True)) - (
        len(rates) - 1
    )
    total = fsum(weights)
    scale = total - fsum(w * w for w in weights) / total
    return max(0.0, excess / scale) if scale > 0 else 0.0
