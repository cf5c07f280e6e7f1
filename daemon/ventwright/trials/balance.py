"""The mass balance of a test print: what was emitted, how fast, and how sure that is.

V·dC/dt = E - k·V·(C - Cb), so over the print and the settling time after it

    E/V = C(end) - C(begin) + sum of k·(C - Cb)·dt

which is right for any part that only lags, because after the print it lags behind a decay that is
fitted. k is fitted on the print's own decay (mixing/decay.py); where the extractor ran, its own
rate counts. Negative rates are kept. Source: single-zone mass balance, limits.md section 6;
phases and the loss term as in emission testing (limits.md section 11).
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from ventwright.mixing.decay import FEWEST, LEAST_FALL, VAGUEST, Decay, fit_decay
from ventwright.mixing.fitting import fit
from ventwright.trials.background import Background, fit_background
from ventwright.trials.series import MINUTE_H, Minute, Series, Span, half_width

_AFTER_H = 10 / 60
_LEAST = 3
"""The level at the end is taken from so long after it, or from so many readings at least."""

SETTLE_H = 3 / 60
"""From the end of the print until its decay is fitted: part and air settle."""

_ROUNDS = 2


class Rate(NamedTuple):
    """A loss rate, 1/h, its standard error and half of its 95 % interval, and where it is from."""

    value: float
    error: float
    half: float
    source: str
    above: float | None = None
    """Half of the interval on its upper side, where that is another."""


HOMES = Rate(1.08, 0.84, 0.84, "74 homes (Wallace 2013): it was not measured here", 3.8)
"""Losses of fine particles, a last resort: median 1.08 /h, quartiles 0.62 and 1.75 (confirmed,
limits.md section 6), taken for log-normal: 95 % from 0.24 to 4.9 /h, derived."""


class Given(NamedTuple):
    """What is known beforehand of a record of few points."""

    level: float | None = None
    """The background, channel's unit, taken for exact."""
    fewest: int = FEWEST
    """With so many points a decay may be relied on, if its interval is carried along."""


class Balance(NamedTuple):
    """What was emitted over the volume, channel's unit, and by what it may be off."""

    emitted: float
    error: float
    half: float
    """The lower half of the 95 % interval, volume error not in it."""
    above: float
    """The upper half."""
    background: Background
    decay: Decay | None
    rates: Mapping[bool, Rate]
    """By whether the extractor ran."""
    noise: "Noise"


class Noise(NamedTuple):
    """How a minute mean may be off: variance = even² + (share·C)², neighbours alike by `alike`."""

    even: float
    share: float
    alike: float

    def at(self, level: float) -> float:
        """Give the standard deviation of a minute mean at a level."""
        return math.hypot(self.even, self.share * level)


def balance(
    series: Series,
    within: float,
    known: Mapping[bool, Rate],
    own: bool = True,
    last: Rate | None = None,
    given: "Given | None" = None,
) -> Balance:
    """Work out what was emitted; raises ValueError with a sentence where that cannot be told.

    `within`: distance to which the air was flushed, channel's unit. `known`: loss rates from
    elsewhere, by whether the extractor ran. `own`: fit the print's own decay where it allows.
    `last`: the rate with extraction off where nothing else tells one. `given`: what is known of
    a record that is none of ours.
    """
    given = given or Given()
    decaying = _decaying(series)
    flushed = series.within(series.background)
    if not series.within(series.print):
        raise ValueError("the print has no whole minute of good readings")
    background, decay, why = _fitted(series, flushed, decaying, within, known, own, given)
    rates = dict(known)
    if decay is not None:
        half = (decay.high - decay.low) / 2
        rates[decaying[0].extracting] = Rate(decay.rate, decay.error, half, "its own decay")
    elif last is not None:
        rates.setdefault(False, last)
    noise = _noise(background, decay, decaying)
    return _summed(_Sum(series, decaying, background, decay, rates, noise), why)


def _decaying(series: Series) -> list[Minute]:
    """Give the minutes of the decay once all has settled, as long as the extractor stays as is."""
    span = Span(series.decay.begins + SETTLE_H, series.decay.ends)
    found = series.within(span)
    if not found:
        return []
    first = found[0].extracting
    until = next((n for n, m in enumerate(found) if m.extracting is not first), len(found))
    return found[:until]


def _fitted(
    series: Series,
    flushed: Sequence[Minute],
    decaying: Sequence[Minute],
    within: float,
    known: Mapping[bool, Rate],
    own: bool,
    given: Given,
) -> tuple[Background, Decay | None, str]:
    """Fit background and decay, each with what the other gives; also why there is no decay."""
    still = known.get(False)
    rate, decay, why = (still.value if still else 1.0), None, ""
    begins = series.background.begins
    for _ in range(_ROUNDS):
        background = fit_background(flushed, begins, rate, within, series.step, given.level)
        decay, why = _decay(decaying, background, known, given.fewest) if own else (None, "")
        if decay is None:
            break
        if not decaying[0].extracting:
            rate = decay.rate
    return background, decay, why


def _decay(
    decaying: Sequence[Minute], background: Background, known: Mapping[bool, Rate], fewest: int
) -> tuple[Decay | None, str]:
    """Fit the decay; a vague one is taken where no other rate is known, its interval with it."""
    hours, levels = [m.middle for m in decaying], [m.mean for m in decaying]
    try:
        found = fit_decay(
            hours,
            levels,
            background.level,
            background.level_error,
            fewest=fewest,
        )
    except ValueError as error:
        return None, str(error)
    vague = only_vague(found, fewest) and decaying[0].extracting not in known
    return (found, "") if found.concluded or vague else (None, found.why[0])


def only_vague(decay: Decay, fewest: int = FEWEST) -> bool:
    """Tell whether nothing speaks against a decay but its wide interval, which may be carried."""
    vague = (decay.high - decay.low) / 2 > VAGUEST * decay.rate and decay.low > 0
    enough = decay.points >= fewest and decay.fallen >= LEAST_FALL
    return len(decay.why) == 1 and vague and enough


def _noise(background: Background, decay: Decay | None, decaying: Sequence[Minute]) -> Noise:
    """Take even noise from the background, and what grows with the level from the decay."""
    if decay is None:
        return Noise(background.noise, 0.03, background.alike)
    levels = math.fsum(m.mean**2 for m in decaying)
    squares = math.fsum(r * r for r in decay.fit.residuals)
    share = math.sqrt(max(0.0, squares - len(decaying) * background.noise**2) / levels)
    r = min(0.9, max(0.0, decay.neighbours))
    return Noise(background.noise, share, max(background.alike, (1 + r) / (1 - r)))


class _Sum(NamedTuple):
    """All that the balance is summed from."""

    series: Series
    decaying: Sequence[Minute]
    background: Background
    decay: Decay | None
    rates: Mapping[bool, Rate]
    noise: Noise

    @property
    def end(self) -> float:
        """Where the balance ends, h."""
        decay = self.series.decay
        return min(decay.begins + SETTLE_H, decay.ends)

    def pieces(self) -> list[Minute]:
        """Cover print and settling without a gap."""
        return list(self.series.pieces(Span(self.series.print.begins, self.end)))

    def end_level(self) -> tuple[float, float]:
        """Give the level at the end, and how it may be off with everything else known."""
        if self.decay is not None:
            first = self.decaying[0].middle
            back = math.exp(self.decay.rate * (first - self.end))
            level = self.decay.background + self.decay.rise * back
            return level, self.decay.fit.error(self.decay.fit.names[0])
        return self._level_after()

    def _level_after(self) -> tuple[float, float]:
        """Take the level at the end from the minutes after it and the rate that is known."""
        later = self.series.within(Span(self.end, self.series.decay.ends))
        after = [m for n, m in enumerate(later) if n < _LEAST or m.ends <= self.end + _AFTER_H]
        after = [m for m in after if m.extracting is after[0].extracting]
        ground = self.background.level
        if after and after[0].extracting in self.rates:
            rate = self.rates[after[0].extracting].value
        else:  # the last that there is, as it stands
            after, rate = list(self.series.pieces(Span(self.end - MINUTE_H, self.end))), 0.0
        back = [(m.mean - ground) * math.exp(rate * (m.middle - self.end)) for m in after]
        level = ground + math.fsum(back) / len(back)
        few = math.sqrt(min(self.noise.alike, len(back)) / len(back))
        return level, self.noise.at(level) * few

    @property
    def decay_rate(self) -> float:
        """The rate of the decay, 1/h; 0 without one."""
        return self.decay.rate if self.decay is not None else 0.0

    def emitted(self) -> float:
        """Sum the balance."""
        lost = math.fsum(
            self.rates[m.extracting].value * (m.mean - self.background.level) * (m.ends - m.begins)
            for m in self.pieces()
        )
        begin = self.background.at(self.series.print.begins)
        return self.end_level()[0] - begin + lost

    def area(self, extracting: bool) -> float:
        """Give the hours times level over the background while the extractor was so."""
        return math.fsum(
            (m.mean - self.background.level) * (m.ends - m.begins)
            for m in self.pieces()
            if m.extracting is extracting
        )


def _summed(sums: _Sum, why: str) -> Balance:
    for extracting in {m.extracting for m in sums.pieces()}:
        if extracting not in sums.rates:
            raise ValueError(_no_rate(extracting, why))
    emitted = sums.emitted()
    moved = _moved(sums)
    parts = [moved.emitted() - emitted]
    leaning = moved.decay_rate - sums.decay_rate
    lead = sums.background.lead_error
    parts.append(lead * math.exp(-sums.background.rate * sums.series.background.hours))
    parts.append(_of_noise(sums))
    of_rates, halves, above = _of_rates(sums, leaning)
    error = math.hypot(*parts, *of_rates)
    same = [half_width(part) for part in parts]
    half, more = math.hypot(*same, *halves), math.hypot(*same, *above)
    return Balance(emitted, error, half, more, sums.background, sums.decay, sums.rates, sums.noise)


def _no_rate(extracting: bool, why: str) -> str:
    reason = f" ({why})" if why else ""
    if extracting:
        return (
            "the extractor ran, and at what rate the air clears then is not known: "
            "`ventwright commission` measures it"
        )
    return (
        f"its decay tells no loss rate{reason}, and none is known from elsewhere: give one with "
        "--loss-rate, or `ventwright commission` measures it"
    )


def _moved(sums: _Sum) -> _Sum:
    """Give all of it with the background off by its error, the decay fitted anew."""
    background = sums.background.moved()
    if sums.decay is None:
        return sums._replace(background=background)
    found = fit(sums.decay.fit.shape, sums.decay.fit.points, background.level)
    rate, rise = found.rates[0], found.amplitudes[0]
    decay = sums.decay._replace(rate=rate, rise=rise, background=background.level)
    own = sums.decaying[0].extracting
    rates = {**sums.rates, own: sums.rates[own]._replace(value=rate)}
    return sums._replace(background=background, decay=decay, rates=rates)


def _of_noise(sums: _Sum) -> float:
    """Give by what the noise of the minutes moves the sum."""
    rates, alike = sums.rates, sums.noise.alike
    squares = math.fsum(
        (rates[m.extracting].value * sums.noise.at(m.mean) * (m.ends - m.begins)) ** 2
        for m in sums.pieces()
    )
    return math.sqrt(squares * alike)


def _of_rates(sums: _Sum, leaning: float) -> tuple[list[float], list[float], list[float]]:
    """Give by what errors of loss rates and of the end level move the sum, and half intervals."""
    errors, halves, above = [], [], []
    own = sums.decaying[0].extracting if sums.decay is not None else None
    for extracting, rate in sums.rates.items():
        if extracting is own:
            continue
        area = abs(sums.area(extracting))
        errors.append(area * rate.error)
        halves.append(area * rate.half)
        above.append(area * (rate.half if rate.above is None else rate.above))
    if sums.decay is None or own is None:
        error = sums.end_level()[1]
        half = half_width(error)
    else:
        error, half = _of_fit(sums.decay, sums.area(own), leaning)
    return [*errors, error], [*halves, half], [*above, half]


def _of_fit(decay: Decay, area: float, leaning: float) -> tuple[float, float]:
    """Give the error of rise + area·rate of a fitted decay, at its given background.

    `leaning`: what the background's error does to the rate, which is counted elsewhere.
    """
    (aa, ak), (_, kk) = decay.fit.covariance[0][:2], decay.fit.covariance[1][:2]
    if not kk:
        return 0.0, 0.0
    plain = math.sqrt(max(0.0, aa + 2 * area * ak + area * area * kk) / kk)
    half = (decay.high - decay.low) / 2
    own = math.sqrt(max(0.0, decay.error**2 - leaning**2))
    wide = math.sqrt(max(0.0, half**2 - half_width(leaning) ** 2))
    return plain * own, plain * wide
