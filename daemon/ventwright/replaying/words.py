"""A replay for people: short sentences and small tables, local times."""

from collections.abc import Iterator
from datetime import datetime

from ventwright.replaying.air import ChannelAir
from ventwright.replaying.decisions import Decision
from ventwright.replaying.differences import AlarmDifference, alarm_differences, apart
from ventwright.replaying.outcome import Outcome
from ventwright.replaying.tally import Episode, total
from ventwright.replaying.telling import hours
from ventwright.settings.durations import format_duration

_MOST = 20
"""Episodes that are listed one by one, of each alarm."""


def when(t: int) -> str:
    """Write Unix ms as local time, to the second."""
    return f"{datetime.fromtimestamp((t + 500) // 1000).astimezone():%d %b %Y %H:%M:%S}"


def long(ms: int) -> str:
    """Write a length of time, to the second."""
    return format_duration(round(ms / 1000) * 1000) if ms >= 500 else "0 s"


def count(n: int, thing: str) -> str:
    """Write a number of things: `1 alarm`, `2 alarms`."""
    return f"{n:,} {thing}{'' if n == 1 else 's'}".replace(",", " ")


def lines(outcome: Outcome) -> Iterator[str]:
    """Tell one replay."""
    yield f"With {outcome.label}:"
    yield from _alarm_lines(outcome)
    yield from _fan_lines(outcome)
    yield from (f"  Mind: {note}" for note in outcome.notes)


def log_lines(outcome: Outcome) -> Iterator[str]:
    """Tell what the log holds."""
    span = outcome.span
    if span.since is None:
        yield "The log is empty."
        return
    yield (
        f"The log goes from {when(span.since)} to {when(span.until)}, {long(span.length)}: "
        f"{count(outcome.counts.total, 'reading')}."
    )
    if span.lives > 1:
        yield (
            f"The keeper was started {span.lives} times; "
            f"for {long(span.without)} between there was none, and nothing was decided."
        )


def _alarm_lines(outcome: Outcome) -> Iterator[str]:
    if not outcome.settings.alarms:
        yield "  There is no alarm in it."
    for name in outcome.settings.alarms:
        found = [episode for episode in outcome.episodes.all if episode.alarm == name]
        if not found:
            yield f"  alarm {name}: never."
            continue
        yield f"  alarm {name}: {count(len(found), 'time')}, {long(total(found))} in all."
        yield from map(_episode_line, found[:_MOST])
        if len(found) > _MOST:
            yield f"    ... and {len(found) - _MOST} more; --json gives all."


def _episode_line(one: Episode) -> str:
    peak = "an unknown peak" if one.peak is None else f"peak {one.peak:.1f} {one.unit}"
    stands = " and stood when the log ended" if one.until is None else ""
    return f"    {when(one.since)}  for {long(one.lasted):<12} {peak}{stands}"


def _fan_lines(outcome: Outcome) -> Iterator[str]:
    for name, fan in outcome.fans.fans.items():
        blind = fan.states.get("blind", 0)
        tail = f"; blind for {long(blind)}" if blind else ""
        yield (
            f"  extractor {name}: on for {fan.on / 3_600_000:.2f} h, "
            f"switched on {count(fan.starts, 'time')}{tail}."
        )


def air_lines(outcome: Outcome) -> Iterator[str]:
    """Tell how well the air was seen, and how it compares with published limits."""
    length = outcome.span.length or 1
    for name in outcome.channels():
        air, words = outcome.air.channels[name], outcome.counts.words(name)
        seen = min(1.0, air.covered / length)
        bad = ", ".join(f"{n} {what}" for what, n in words.items() if what != "good" and n)
        tail = f" ({bad})" if bad else ""
        yield f"  {name:<20}{sum(words.values()):>12} readings, {seen:>6.1%} of the time{tail}"
        yield from _limit_lines(air)


def _limit_lines(air: ChannelAir) -> Iterator[str]:
    for window in air.windows:
        for one in window.found:
            if not one.known or window.highest is None:
                continue
            over = f"over it for {long(one.over)}" if one.over else "never over it"
            highest = window.highest / air.per_unit
            yield (
                f"    {one.limit.sentence()} ({one.limit.population}): {over}; "
                f"highest mean {highest:.1f} {air.unit}"
            )


def recorded_lines(outcome: Outcome, taken: list[Decision]) -> Iterator[str]:
    """Tell whether the same was decided when the log was made."""
    missing, more = apart(taken, outcome.decisions), apart(outcome.decisions, taken)
    if not missing and not more:
        yield f"These are the {count(len(taken), 'decision')} that were taken then, to the ms."
        return
    yield (
        f"Then it was decided otherwise: {count(len(missing), 'decision')} of the log are not "
        f"among these, and {len(more)} of these are not in the log."
    )


def difference_lines(first: Outcome, other: Outcome) -> Iterator[str]:
    """Tell in what two replays differ."""
    differing = [one for one in alarm_differences(first, other) if not one.same]
    if not apart(first.decisions, other.decisions) and not apart(other.decisions, first.decisions):
        yield "Both decide the same, to the ms."
        return
    yield f"Differences, {first.label} first and {other.label} second:"
    for one in differing:
        yield from _difference(one)
    for name in dict.fromkeys([*first.fans.fans, *other.fans.fans]):
        both = [hours(outcome, name) for outcome in (first, other)]
        told = ["not there" if h is None else f"{h:.2f} h" for h in both]
        yield f"  extractor {name}: on for {told[0]} / {told[1]}"


def _difference(one: AlarmDifference) -> Iterator[str]:
    times, lasted = one.times, one.lasted
    yield (
        f"  alarm {one.alarm}: {times[0]} / {count(times[1], 'time')}, "
        f"{long(lasted[0])} / {long(lasted[1])} in all"
    )
    for which, found in (("first", one.only_first), ("second", one.only_other)):
        if found:
            yield f"    only with the {which}, {count(len(found), 'time')}:"
            yield from map(_episode_line, found[:_MOST])


AIR_IS_AS_IT_WAS = (
    "The air is that of the log. Where another rule would have run the extractor longer or\n"
    "shorter, the air itself would have been another."
)
