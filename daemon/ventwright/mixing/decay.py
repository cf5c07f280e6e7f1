"""The loss rate of a room from a decay, C(t) = background + A exp(-k t), or why there is none.

Takes times in hours and levels in any unit; knows no store, part or extractor. A decay is a claim
about a room, so everything that speaks against it is said: too little fall, too few points,
a curve that bends. Errors allow for noise that grows with the level and resembles its neighbours.
"""

from collections.abc import Sequence
from math import exp, fsum, sqrt
from typing import Literal, NamedTuple

from ventwright.mixing.bending import bend
from ventwright.mixing.curve import Fit, Points
from ventwright.mixing.doubt import Doubt, doubt
from ventwright.mixing.fitting import fit
from ventwright.mixing.shapes import SHAPES, Shape

FEWEST = 20
"""Points below which nothing is concluded."""

LEAST_FALL = 0.4
"""The share of the first rise that must be gone at the end."""

VAGUEST = 0.3
"""The share of the rate that half of its interval may be."""

_ROUNDS = 3
_LEAST_SHARE = 1e-4
PLAIN = 1.96
"""Half of a 95 % interval in standard errors, for the background, whose error is given."""

Noise = Literal["level", "even"]


class Decay(NamedTuple):
    """A fitted decay; rates in 1/h, levels in the unit of the data."""

    rate: float
    error: float
    """Standard error of the rate, correlation of the noise and error of the background in it."""
    low: float
    high: float
    """The 95 % interval of the rate."""
    rise: float
    """A: how far the first point stood above the background."""
    background: float
    background_error: float
    points: int
    span: float
    """From the first point to the last, h."""
    r2: float
    deviation: float
    """How far points lie from the curve: root of the mean square, unit of the data."""
    neighbours: float
    """Correlation of a residual with the next, -1..1."""
    why: tuple[str, ...]
    """Why nothing should be concluded, a sentence each; empty where all is well."""
    fit: Fit

    @property
    def concluded(self) -> bool:
        """Whether the rate may be used."""
        return not self.why

    @property
    def fallen(self) -> float:
        """The share of the rise that was gone at the end."""
        return 1 - exp(-self.rate * self.span)


def fit_decay(
    hours: Sequence[float],
    levels: Sequence[float],
    background: float | None = None,
    background_error: float = 0.0,
    noise: Noise = "level",
    fewest: int = FEWEST,
) -> Decay:
    """Fit a decay, the background given (with its standard error) or free.

    `noise` tells whether it may grow with the level or is the same everywhere. Times count from
    the first point. With less than `fewest` points nothing is concluded. Raises ValueError, a
    sentence, where there is nothing to fit at all; else what speaks against the result is in `why`.
    """
    if len(levels) < 4:
        raise ValueError(f"only {len(levels)} points, {fewest} are needed")
    first = min(hours)
    points = Points([t - first for t in hours], list(levels), [1.0] * len(levels))
    shape = SHAPES["decay"]
    found = (
        weighted(shape, points, background) if noise == "level" else fit(shape, points, background)
    )
    unsure = doubt(found)
    if noise == "level" and len(levels) < FEWEST:
        unsure = _fewer(unsure)
    widened = unsure.widened * found.error("k")
    from_background = leaning(found, background_error)
    half = sqrt(unsure.half_width(found.error("k")) ** 2 + (PLAIN * from_background) ** 2)
    decay = _told(found, unsure, background_error, sqrt(widened**2 + from_background**2), half)
    return decay._replace(why=tuple(against(found, background_error, 1.0, half, fewest)))


def _fewer(unsure: Doubt) -> Doubt:
    """Count the two numbers that tell how noise follows the level: of few points they take much."""
    left = max(1.0, unsure.freedom - 2)
    return unsure._replace(freedom=left, widened=unsure.widened * sqrt(unsure.freedom / left))


def _told(fit: Fit, unsure: Doubt, given: float, error: float, half: float) -> Decay:
    rate, rise = fit.rates[0], fit.amplitudes[0]
    squares = fsum(r * r for r in fit.residuals)
    return Decay(
        rate=rate,
        error=error,
        low=rate - half,
        high=rate + half,
        rise=rise,
        background=fit.background,
        background_error=unsure.widened * fit.error("background") if fit.free else given,
        points=len(fit.residuals),
        span=fit.points.span,
        r2=fit.r2,
        deviation=sqrt(squares / max(1, fit.freedom)),
        neighbours=unsure.neighbours,
        why=(),
        fit=fit,
    )


def weighted(shape: Shape, points: Points, background: float | None) -> Fit:
    """Fit, then again with spreads that follow the level as the residuals say."""
    found = fit(shape, points, background)
    for _ in range(_ROUNDS):
        found = fit(shape, points._replace(spreads=_spreads(found)), background, found)
    return found


def _spreads(fit: Fit) -> list[float]:
    """Tell how noise follows the level: variance = even + share x level², from two halves."""
    rows = sorted((fit.at(t), r) for t, r in zip(fit.points.times, fit.residuals, strict=True))
    low, high = rows[: len(rows) // 2], rows[len(rows) // 2 :]
    (low_level, low_noise), (high_level, high_noise) = _squares(low), _squares(high)
    apart = high_level - low_level
    share = max(0.0, (high_noise - low_noise) / apart) if apart > 0 else 0.0
    even = max(low_noise - share * low_level, _LEAST_SHARE * high_noise)
    if not even:
        return [1.0] * len(rows)
    return [sqrt(even + share * fit.at(t) ** 2) for t in fit.points.times]


def _squares(rows: Sequence[tuple[float, float]]) -> tuple[float, float]:
    count = len(rows)
    return fsum(level**2 for level, _ in rows) / count, fsum(r * r for _, r in rows) / count


def leaning(fit: Fit, background_error: float) -> float:
    """Give how far the rate moves when the given background moves by its standard error.

    0 where the background was fitted.
    """
    if fit.free or not background_error:
        return 0.0
    moved = _again(fit, fit.background + background_error)
    return abs(moved.rates[0] - fit.rates[0])


def _again(found: Fit, background: float) -> Fit:
    return fit(found.shape, found.points, background, found)


def against(
    found: Fit,
    background_error: float = 0.0,
    hours: float = 1.0,
    half: float | None = None,
    fewest: int = FEWEST,
) -> list[str]:
    """Say what speaks against a decay, the worst first; nothing where it may be relied on.

    `hours` is the unit of its times in hours, `half` half the interval of the rate, if it is known
    better than from the fit alone.
    """
    points, rate = len(found.residuals), found.rates[0]
    if points < fewest:
        return [f"only {points} points, {fewest} are needed: measure longer"]
    if found.amplitudes[0] <= 0 or rate <= 0:
        return ["it does not fall: the source was not over, or there was nothing to clear"]
    bent = bend(found, background_error, hours)
    return ([bent] if bent else []) + (_shallow(found) or _vague(found, half, hours))


def _shallow(found: Fit) -> list[str]:
    fallen = 1 - exp(-found.rates[0] * found.points.span)
    if fallen >= LEAST_FALL:
        return []
    return [
        f"too little decay: only {fallen:.0%} of the rise was gone at the end, "
        f"{LEAST_FALL:.0%} is needed: wait longer"
    ]


def _vague(found: Fit, half: float | None, hours: float) -> list[str]:
    rate = found.rates[0]
    half = doubt(found).half_width(found.error("k")) if half is None else half
    if half <= VAGUEST * rate:
        return []
    low, high = max(0.0, rate - half) / hours, (rate + half) / hours
    return [
        f"too vague: the rate lies between {low:.2g} and {high:.2g} /h; "
        "start from a higher level or measure longer"
    ]
