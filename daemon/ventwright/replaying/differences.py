"""In what two replays of one log differ."""

from collections import Counter
from typing import NamedTuple

from ventwright.replaying.decisions import Decision
from ventwright.replaying.outcome import Outcome
from ventwright.replaying.tally import Episode, total


class AlarmDifference(NamedTuple):
    """One alarm with two configurations; lengths of time in ms."""

    alarm: str
    times: tuple[int, int]
    lasted: tuple[int, int]
    only_first: list[Episode]
    """Episodes in which the other configuration shows none of this alarm."""
    only_other: list[Episode]

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        alike = self.times[0] == self.times[1] and self.lasted[0] == self.lasted[1]
        return alike and not self.only_first and not self.only_other


def alarm_differences(first: Outcome, other: Outcome) -> list[AlarmDifference]:
    """Compare every alarm that one of the two has."""
    names = dict.fromkeys([*first.settings.alarms, *other.settings.alarms])
    return [_compared(name, _of(first, name), _of(other, name)) for name in names]


def _of(outcome: Outcome, alarm: str) -> list[Episode]:
    return [episode for episode in outcome.episodes.all if episode.alarm == alarm]


def _compared(name: str, first: list[Episode], other: list[Episode]) -> AlarmDifference:
    return AlarmDifference(
        name,
        (len(first), len(other)),
        (total(first), total(other)),
        _apart(first, other),
        _apart(other, first),
    )


def _apart(some: list[Episode], others: list[Episode]) -> list[Episode]:
    """Keep the episodes that overlap none of the others; both are in the order of their times."""
    apart, place = [], 0
    for one in some:
        while place < len(others) and _end(others[place]) < one.since:
            place += 1
        if place == len(others) or others[place].since > _end(one):
            apart.append(one)
    return apart


def _end(episode: Episode) -> int:
    return episode.since + episode.lasted


def _key(decision: Decision) -> tuple[int, str, str, str]:
    return decision.t, decision.kind, decision.subject, decision.change


def apart(some: list[Decision], others: list[Decision]) -> list[Decision]:
    """Keep the decisions that the others do not have at the same time."""
    there = Counter(map(_key, others))
    found = []
    for decision in some:
        if there[_key(decision)]:
            there[_key(decision)] -= 1
        else:
            found.append(decision)
    return found
