"""What an alarm compares: mean, rise, rate, forecast and so on, each at constant cost.

mean      the rolling mean over `over`
rise      that mean minus the baseline
rate      how fast the mean changes, unit per minute: the mean over `over` minus the mean over the
          `over` before it, divided by `over`; for a change at an even pace that is its slope
forecast  the highest that the mean over `over` is expected to be within a quarter of `over`, if the
          air stays as it was on average over the last 24th of it (at least a minute)
departure by how many percent the mean of a raw signal is off the baseline, that is off what it is
          in this room's clean air; above 0 on the side on which dirty air is
emission  what is put into the room, µg/h, as it is tracked (package source); 0 while nothing emits
silence   minutes without a good reading; only good readings make it smaller again

A mean can look `ahead`: the setpoint is then for what it will be by then, if it goes on rising as
within the last minute. A rise looks ahead with more care (onset.py), and its setpoint can grow by a
`share` of the baseline: what an open door brings in grows with it, what a print emits does not.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

from ventwright.alarms.onset import LEVEL_MS, Onset
from ventwright.means.channel import Channel
from ventwright.means.trend import Trend
from ventwright.settings.model import MINUTE
from ventwright.settings.model import Alarm as AlarmSettings


class Look(NamedTuple):
    """What an alarm saw when it last looked, in the channel's unit."""

    mean: float | None = None
    coverage: float = 0.0
    base: float | None = None
    value: float | None = None
    """What is compared with the setpoint; None where it is not known."""
    reaches: int | None = None
    """When the setpoint is expected to be reached, ms; None where it is not."""
    expected: float | None = None
    """What the value will be for an alarm that looks ahead."""
    times: float = 1.0
    """By how much setpoint and deadband are larger now than in the settings."""

    @property
    def rise(self) -> float | None:
        """Mean minus baseline, or None where either is unknown."""
        return None if self.mean is None or self.base is None else self.mean - self.base

    @property
    def compared(self) -> float | None:
        """What the setpoint of the settings is for: the value, or what it will be, made smaller."""
        value = self.value if self.expected is None else self.expected
        return value if value is None or self.times == 1.0 else value / self.times


_look: Callable[[type[Look], tuple[Any, ...]], Look] = tuple.__new__
"""Makes a whole Look in a third of the time: it is done for every alarm with every reading."""

Comparison = Callable[[int, bool], Look]
"""Looks at `t` ms, told whether the condition holds now."""


def compare(channel: Channel, settings: AlarmSettings) -> Comparison:
    """Choose the comparison that the settings ask for."""
    now = _KINDS[settings.compare](channel, settings)
    return _ahead(now, channel, settings) if settings.ahead and settings.compare == "mean" else now


def longest_window(settings: AlarmSettings) -> int:
    """Tell how far back an alarm looks, ms."""
    if settings.compare == "rise" and settings.ahead:
        return max(settings.over, LEVEL_MS)
    trend = MINUTE if settings.ahead else 0
    return settings.over * (2 if settings.compare == "rate" else 1) + trend


def _mean(channel: Channel, settings: AlarmSettings) -> Comparison:
    over, least = settings.over, settings.coverage
    channel.watch(over)

    def look(t: int, _active: bool) -> Look:
        mean, coverage = channel.mean(t, over, least)
        return _look(Look, (mean, coverage, channel.base, mean, None, None, 1.0))

    return look


def _rise(channel: Channel, settings: AlarmSettings) -> Comparison:
    over, least = settings.over, settings.coverage
    channel.watch(over)

    def look(t: int, _active: bool) -> Look:
        mean, coverage = channel.mean(t, over, least)
        base = channel.base
        rise = None if mean is None or base is None else mean - base
        return _look(Look, (mean, coverage, base, rise, None, None, 1.0))

    return _Growing(channel, settings) if settings.ahead or settings.share else look


_LASTING = 2.5
"""By how much the setpoint is larger at most where a rise lasts: as shipped it is then 10 µg/m³."""


class _Growing:
    """A rise with a setpoint that grows with the baseline, now or as it will be."""

    def __init__(self, channel: Channel, settings: AlarmSettings) -> None:
        self._channel, self._ahead = channel, settings.ahead
        self._over, self._least = settings.over, settings.coverage
        self._setpoint, self._share = settings.setpoint, settings.share / settings.setpoint
        self._onset = Onset(channel, settings)
        channel.watch(settings.over)

    def __call__(self, t: int, active: bool) -> Look:
        mean, coverage = self._channel.mean(t, self._over, self._least)
        base = self._channel.base
        if mean is None or base is None:
            return Look(mean, coverage, base)
        rise, times = mean - base, 1.0 + self._share * max(0.0, base)
        if not self._ahead:
            return _look(Look, (mean, coverage, base, rise, None, None, times))
        if times > _LASTING and self._onset.lasts(base, _LASTING * self._setpoint):
            times = _LASTING
        expected, coming = self._onset.expected(t, mean, base, begun=active)
        reaches, missing = None, self._setpoint * times - expected + coming
        if 0 < missing <= coming:
            reaches = t + round(self._ahead * missing / coming)
        if active and expected < rise:
            expected = rise
        return _look(Look, (mean, coverage, base, rise, reaches, expected, times))


def _ahead(now: Comparison, channel: Channel, settings: AlarmSettings) -> Comparison:
    trend, ahead = Trend(channel, settings.over), settings.ahead
    setpoint, least = settings.setpoint, settings.coverage

    def look(t: int, active: bool) -> Look:
        seen = now(t, active)
        if seen.value is None or seen.mean is None:
            return seen
        gain = trend.rise(t, seen.mean, least) * ahead / MINUTE
        missing, reaches = setpoint - seen.value, None
        if 0 < missing <= gain:
            reaches = t + round(ahead * missing / gain)
        return Look(*seen[:4], reaches, seen.value + gain)

    return look


def _rate(channel: Channel, settings: AlarmSettings) -> Comparison:
    over, least = settings.over, settings.coverage
    channel.watch(over)
    channel.watch(2 * over)

    def look(t: int, _active: bool) -> Look:
        mean, coverage = channel.mean(t, over, least)
        before = channel.mean_before(t, over, least)
        known = mean is not None and before is not None
        rate = (mean - before) * MINUTE / over if known else None  # type: ignore[operator]
        return Look(mean, coverage, channel.base, rate)

    return look


def _departure(channel: Channel, settings: AlarmSettings) -> Comparison:
    over, least = settings.over, settings.coverage
    percent = -100 if channel.quantity.falls else 100
    channel.watch(over)

    def look(t: int, _active: bool) -> Look:
        mean, coverage = channel.mean(t, over, least)
        base = channel.base
        value = percent * (mean / base - 1) if mean is not None and base else None
        return Look(mean, coverage, base, value)

    return look


def _emission(channel: Channel, settings: AlarmSettings) -> Comparison:
    over, least = settings.over, settings.coverage
    channel.watch(over)

    def look(t: int, _active: bool) -> Look:
        mean, coverage = channel.mean(t, over, least)
        value = None if mean is None else channel.emission
        return Look(mean, coverage, channel.base, value)

    return look


class _Forecast:
    """A mean that goes on: what has been stays, what leaves the window is taken to be even."""

    def __init__(self, channel: Channel, settings: AlarmSettings) -> None:
        self._channel = channel
        self._over, self._least = settings.over, settings.coverage
        self._setpoint = settings.setpoint
        self._ahead = settings.over // 4
        self._now = min(settings.over, max(MINUTE, settings.over // 24))
        for length in (self._over, self._over - self._ahead, self._now):
            channel.watch(length)

    def __call__(self, t: int, _active: bool) -> Look:
        channel, over, least = self._channel, self._over, self._least
        mean, coverage = channel.mean(t, over, least)
        kept = channel.mean(t, over - self._ahead, least).value
        present = channel.mean(t, self._now, least).value
        if kept is None or present is None:
            return Look(mean, coverage, channel.base)
        then = kept + (present - kept) * self._ahead / over
        value = then if mean is None else max(mean, then)
        return Look(mean, coverage, channel.base, value, self._reached(t, mean, then))

    def _reached(self, t: int, mean: float | None, then: float) -> int | None:
        if mean is not None and mean >= self._setpoint:
            return t
        if mean is None or then < self._setpoint:
            return None
        return t + round(self._ahead * (self._setpoint - mean) / (then - mean))


class _Silence:
    """Time without a good reading; before the first look nothing was listened to."""

    def __init__(self, channel: Channel, settings: AlarmSettings) -> None:
        self._channel, self._over = channel, settings.over
        self._began: int | None = None

    def __call__(self, t: int, active: bool) -> Look:
        began = self._began = t if self._began is None else self._began
        last = self._channel.history.last
        quiet = t - (began if last is None else max(last, began))
        if self._channel.speaks(t):
            quiet = 0
        elif active:
            quiet = max(quiet, self._over)
        return Look(base=self._channel.base, value=quiet / MINUTE)


_KINDS: dict[str, Callable[[Channel, AlarmSettings], Comparison]] = {
    "mean": _mean,
    "rise": _rise,
    "rate": _rate,
    "forecast": _Forecast,
    "departure": _departure,
    "emission": _emission,
    "silence": _Silence,
}
