"""Finds loss rates in what was recorded: decays while one extractor ran, and while none did.

Takes runs of extractors and gives levels by a function; knows no store. No ritual is needed, but
nobody says when a source was over either: a decay counts from its highest level, and what bends
is left out.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from math import fsum
from statistics import quantiles
from typing import NamedTuple

from ventwright.commissioning.findings import Background, Rate, background, rate, together
from ventwright.commissioning.levels import Levels
from ventwright.commissioning.walk import Plan
from ventwright.reporting.happenings import Run
from ventwright.settings.model import HOUR, MINUTE

LONGEST_MS = 3 * HOUR
_SHORTEST_MS = 10 * MINUTE
_VALLEY = 0.8  # of the highest level: what lies below that before it belongs to an earlier fall
_SMOOTH = 6
_TOP_MS = 2 * MINUTE
"""What is left out after the highest level: the source may have faded rather than stopped."""

Give = Callable[[int, int], dict[str, Levels]]
"""Levels by channel between two times, Unix ms."""


class Spell(NamedTuple):
    """A time in which one extractor ran, or none (""); Unix ms."""

    extractor: str
    begins: int
    ends: int


class Past(NamedTuple):
    """What was found: usable rates, and how many decays were looked at."""

    rates: dict[str, list[Rate]]
    """By extractor; "" is none."""
    looked: dict[str, int]
    left_out: dict[str, int]
    """Why decays were left out, by the first words of the reason, and how many."""
    least: str
    """How deep a fall must be to be looked at, with its unit."""

    def rate(self, extractor: str) -> Rate:
        """Take the decays of an extractor together; without any it says so."""
        if found := self.rates.get(extractor):
            return together(found)
        looked = self.looked.get(extractor, 0)
        said = f"none of the decays in the record counts ({looked} looked at)"
        if not looked:
            said = f"no fall by {self.least} that lasted 10 min was recorded"
        return Rate(0.0, 0.0, 0.0, 0.0, 0, 0.0, (said,))


def spells(runs: Sequence[Run], begins: int, ends: int) -> list[Spell]:
    """Cut a time into spells at every switch; those of several extractors at once are left out."""
    moments = {begins, ends}
    for run in runs:
        moments |= {t for t in (run.begins, run.ends) if t is not None and begins < t < ends}
    cuts = sorted(moments)
    found = []
    for first, last in pairwise(cuts):
        running = [r.extractor for r in runs if r.begins <= first and (r.ends or ends) >= last]
        if len(running) <= 1 and last - first >= _SHORTEST_MS:
            found.append(Spell(running[0] if running else "", first, last))
    return found


def look(found: Sequence[Spell], plan: Plan, give: Give) -> Past:
    """Look for decays in spells; the newest spells may come in any order."""
    past = Past({}, {}, {}, f"{plan.least:g} {plan.unit}")
    for spell in found:
        levels = give(spell.begins + plan.settle, spell.ends)
        for cut in _decays(levels, plan.channel, plan.least):
            _take(past, spell.extractor, plan.channel, cut)
    return past


def _take(past: Past, extractor: str, channel: str, levels: dict[str, Levels]) -> None:
    past.looked[extractor] = past.looked.get(extractor, 0) + 1
    one = rate(channel, levels, _floor(levels) if not extractor else {})
    if not one.why:
        past.rates.setdefault(extractor, []).append(one)
        return
    why = one.why[0].partition(":")[0]
    past.left_out[why] = past.left_out.get(why, 0) + 1


def _floor(levels: dict[str, Levels]) -> dict[str, Background]:
    """Take the background from the end, where a decay has come down to it; else it is fitted."""
    known = {}
    for name, them in levels.items():
        values = [value for _, value in them]
        if len(values) > 60 and quantiles(values[-30:])[1] < values[0] / 10:
            known[name] = background(them[-30:])
    return known


def _decays(levels: dict[str, Levels], channel: str, least: float) -> list[dict[str, Levels]]:
    """Cut out every fall of a spell that is deep and long enough, the last one first."""
    own, found = levels.get(channel, []), []
    last = len(own)
    while last > 0:
        first = _top(own[:last])
        begins, ends = own[first][0] + _TOP_MS, min(own[last - 1][0], own[first][0] + LONGEST_MS)
        deep = own[first][1] - own[last - 1][1] >= least
        if deep and ends - begins >= _SHORTEST_MS:
            found.append(_cut(levels, begins, ends))
        last = first
    return found


def _cut(levels: dict[str, Levels], begins: int, ends: int) -> dict[str, Levels]:
    return {name: [r for r in them if begins <= r[0] <= ends] for name, them in levels.items()}


def _top(levels: Levels) -> int:
    """Go back from the end as long as it gets higher; returns where it was highest."""
    top = place = len(levels) - 1
    while place > 0:
        place -= 1
        if levels[place][1] >= levels[top][1]:
            top = place
        elif _mean(levels, place) < _VALLEY * levels[top][1]:
            break
    return top


def _mean(levels: Levels, place: int) -> float:
    near = levels[max(0, place - _SMOOTH + 1) : place + 1]
    return fsum(value for _, value in near) / len(near)
