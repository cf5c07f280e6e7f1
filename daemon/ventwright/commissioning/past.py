"""Finds loss rates in what was recorded: decays while one extractor ran, and while none did.

Takes runs of extractors and gives levels by a function; knows no store. No ritual is needed, but
nobody says when a source was over either: a decay counts from its highest level, and those that
bend are left out.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from statistics import quantiles
from typing import NamedTuple

from ventwright.commissioning.findings import Background, Rate, background, rate, together
from ventwright.commissioning.levels import BLOCK_MS, Levels
from ventwright.reporting.happenings import Run
from ventwright.settings.model import HOUR, MINUTE

LONGEST_MS = 3 * HOUR
_SHORTEST_MS = 10 * MINUTE
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

    def rate(self, extractor: str) -> Rate:
        """Take the decays of an extractor together; without any it says so."""
        if found := self.rates.get(extractor):
            return together(found)
        looked = self.looked.get(extractor, 0)
        said = f"none of the {looked} times that could be looked at held a decay that counts"
        return Rate(0.0, 0.0, 0.0, 0.0, 0, 0.0, (said if looked else "nothing was recorded of it",))


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


def look(found: Sequence[Spell], channel: str, give: Give, least: float, settle: int) -> Past:
    """Look for decays in spells; the newest spells may come in any order."""
    past = Past({}, {}, {})
    for spell in found:
        levels = give(spell.begins + settle, spell.ends)
        for cut in _decays(levels, channel, least):
            _take(past, spell.extractor, channel, cut)
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
    """Cut out what follows the highest level of a spell, to its end or three hours later."""
    own = levels.get(channel, [])
    if len(own) * BLOCK_MS < _SHORTEST_MS:
        return []
    top, highest = max(own, key=lambda row: row[1])
    if highest - min(value for _, value in own) < least:
        return []
    begins, ends = top + _TOP_MS, top + LONGEST_MS
    cut = {name: [row for row in them if begins <= row[0] <= ends] for name, them in levels.items()}
    return [cut] if len(cut[channel]) * BLOCK_MS >= _SHORTEST_MS else []
