"""A replay for programs: plain JSON, times in ISO 8601 UTC, units with every number."""

from datetime import UTC, datetime
from typing import Any

from ventwright.replaying.air import ChannelAir, Exceeding
from ventwright.replaying.decisions import Decision
from ventwright.replaying.differences import alarm_differences, apart
from ventwright.replaying.outcome import Outcome
from ventwright.replaying.tally import Episode, Fan

Told = dict[str, Any]


def iso(t: int | None) -> str | None:
    """Write Unix ms as ISO 8601 in UTC."""
    if t is None:
        return None
    seconds, ms = divmod(t, 1000)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{ms:03}Z"


def _decision(one: Decision) -> Told:
    return {
        "time": iso(one.t),
        "kind": one.kind,
        "subject": one.subject,
        "change": one.change,
        "reason": one.why,
        **one.figures,
    }


def _episode(one: Episode) -> Told:
    return {
        "alarm": one.alarm,
        "raised": iso(one.since),
        "cleared": iso(one.until),
        "lasted (s)": one.lasted / 1000,
        "peak": one.peak,
        "unit": one.unit,
    }


def _fan(fan: Fan) -> Told:
    return {
        "on (h)": fan.on / 3_600_000,
        "switched on": fan.starts,
        "states (h)": {state: ms / 3_600_000 for state, ms in fan.states.items()},
    }


def _exceeding(channel: ChannelAir, one: Exceeding, highest: float | None) -> Told:
    return {
        "limit": one.limit.key,
        "says": one.limit.sentence(),
        "population": one.limit.population,
        "value": one.limit.in_unit(channel.unit),
        "over (s)": one.over / 1000,
        "known (s)": one.known / 1000,
        "highest mean": None if highest is None else highest / channel.per_unit,
        "unit": channel.unit,
    }


def _channel(outcome: Outcome, name: str) -> Told:
    air = outcome.air.channels[name]
    length = outcome.span.length
    return {
        "readings": outcome.counts.words(name),
        "coverage": min(1.0, air.covered / length) if length else 0.0,
        "limits": [
            _exceeding(air, one, window.highest) for window in air.windows for one in window.found
        ],
    }


def outcome_told(outcome: Outcome) -> Told:
    """Tell one replay."""
    return {
        "configuration": outcome.label,
        "notes": outcome.notes,
        "from": iso(outcome.span.since),
        "until": iso(outcome.span.until),
        "keepers": outcome.span.lives,
        "time without a keeper (s)": outcome.span.without / 1000,
        "readings": outcome.counts.total,
        "channels": {name: _channel(outcome, name) for name in outcome.channels()},
        "alarms": [_episode(one) for one in outcome.episodes.all],
        "extractors": {name: _fan(fan) for name, fan in outcome.fans.fans.items()},
        "decisions": [_decision(one) for one in outcome.decisions],
    }


def recorded_told(outcome: Outcome, taken: list[Decision]) -> Told:
    """Tell in what a replay differs from what was decided when the log was made."""
    return {
        "decisions": len(taken),
        "only recorded": [_decision(one) for one in apart(taken, outcome.decisions)],
        "only replayed": [_decision(one) for one in apart(outcome.decisions, taken)],
    }


def differences_told(first: Outcome, other: Outcome) -> Told:
    """Tell in what two replays differ."""
    return {
        "alarms": [
            {
                "alarm": one.alarm,
                "times": list(one.times),
                "lasted (s)": [ms / 1000 for ms in one.lasted],
                "only first": [_episode(episode) for episode in one.only_first],
                "only other": [_episode(episode) for episode in one.only_other],
            }
            for one in alarm_differences(first, other)
            if not one.same
        ],
        "extractors on (h)": {
            name: [hours(first, name), hours(other, name)]
            for name in dict.fromkeys([*first.fans.fans, *other.fans.fans])
        },
        "only first": [_decision(one) for one in apart(first.decisions, other.decisions)],
        "only other": [_decision(one) for one in apart(other.decisions, first.decisions)],
    }


def hours(outcome: Outcome, fan: str) -> float | None:
    """How long an extractor was on, h; None if the configuration does not have it."""
    found = outcome.fans.fans.get(fan)
    return None if found is None else found.on / 3_600_000
