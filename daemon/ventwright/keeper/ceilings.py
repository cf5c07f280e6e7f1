"""Ends holds at their ceiling: somebody holds an extractor off, but not whatever the air becomes.

Knows channels and holds; knows no alarm, and asks no clock.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from ventwright.extraction.extractor import Ceiling, Extractor
from ventwright.means.channel import TRUSTED_OVER_MS, Channel
from ventwright.settings.durations import format_duration

_COVERAGE = 0.5


def ceiling_asked(words: Any, channels: Mapping[str, Channel], t: int) -> Ceiling:
    """Take the ceiling somebody asks for at `t` ms; raises ValueError that says what is wrong."""
    if not isinstance(words, dict):
        raise ValueError('a ceiling needs a "channel" and a "value"')  # noqa: TRY004
    channel, value = channels.get(str(words.get("channel"))), words.get("value")
    if channel is None:
        there = ", ".join(channels)
        raise ValueError(f'there is no channel "{words.get("channel")}"; there is: {there}')
    unit = channel.quantity.unit
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e9:
        raise ValueError(f"a ceiling for {channel.name} needs a value above 0 {unit}")
    now = channel.mean(t, TRUSTED_OVER_MS, _COVERAGE).value
    if now is None:
        raise ValueError(f"{channel.name} gives no trustworthy data now, so it is no ceiling")
    if _above(channel, now, value):
        raise ValueError(f"{channel.name} is at {now:.1f} {unit} already")
    channel.decides = True  # when it could last be trusted is known from now on
    return Ceiling(channel.name, float(value), t)


def follow_again(extractor: Extractor, channels: Mapping[str, Channel], t: int) -> None:
    """Follow the channel of a hold that was taken back at `t` ms after a restart."""
    hold = extractor.hold
    if hold and hold.ceiling and hold.ceiling.channel in channels:
        channels[hold.ceiling.channel].decides = True
        extractor.hold = hold._replace(ceiling=hold.ceiling._replace(since=t))


def _above(channel: Channel, now: float, value: float) -> bool:
    return now <= value if channel.quantity.falls else now >= value


def lift(extractors: Iterable[Extractor], channels: Mapping[str, Channel], t: int) -> None:
    """End the holds at `t` ms whose ceiling is reached, or cannot be seen any more."""
    for extractor in extractors:
        hold = extractor.hold
        if hold and hold.ceiling and t < hold.until:
            why = _reached(hold.ceiling, extractor.settings.blind_after, channels, t)
            if why:
                extractor.lift(why)


def _reached(ceiling: Ceiling, blind_after: int, channels: Mapping[str, Channel], t: int) -> str:
    channel = channels.get(ceiling.channel)
    if channel is None:
        return f"{ceiling.channel}, its ceiling, is no channel any more"
    now = channel.mean(t, TRUSTED_OVER_MS, _COVERAGE).value
    if now is not None and _above(channel, now, ceiling.value):
        unit = channel.quantity.unit
        return f"{channel.name} reached {now:.1f} {unit}, the ceiling of {ceiling.value:g} {unit}"
    if t - max(channel.trusted, ceiling.since) >= blind_after:
        return f"{channel.name}, its ceiling, gave no trustworthy data for " + format_duration(
            blind_after
        )
    return ""
