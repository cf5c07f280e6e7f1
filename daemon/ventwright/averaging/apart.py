"""Which readings of two parts that disagreed count: those that the core counted, the higher ones.

The store marks the readings of both and does not say which was judged; it follows from all the
readings of both, taken in their order as the core took them (quality/same_air.py). Knows two
channels as they come from the store; knows no average and no file.
"""

from collections.abc import Sequence
from heapq import merge
from itertools import repeat
from typing import NamedTuple, Protocol

from ventwright.means.channel import Channel
from ventwright.quality.marks import Quality
from ventwright.quality.same_air import OVER_MS, SameAir
from ventwright.settings.model import SameAir as Settings
from ventwright.storage.blocks import Column

EARLIER_MS = 2 * OVER_MS
"""How long before the first reading that is wanted the pair has to be followed."""

_MOST = 20_000  # readings held back for the other side, which may be silent

_OWN_GOOD = (Quality.GOOD, Quality.INCONSISTENT_PARTS)


class Sink(Protocol):
    """What takes the readings of one channel."""

    def take(self, times: Sequence[int], column: Column, sure: bool) -> None:
        """Take a column at its times (Unix ms); `sure`: the clock was known to be right."""


class _Reading(NamedTuple):
    t: int
    side: int
    step: int | None
    mark: int
    sure: bool


class Apart:
    """Takes the readings of a pair, and passes those on that count, as good ones."""

    def __init__(
        self,
        settings: Settings,
        channels: tuple[Channel, Channel],
        sinks: tuple[Sink | None, Sink | None],
    ) -> None:
        """Stand before the sinks of both channels; one may be of no interest."""
        self.names = settings.channels
        by_name = {channel.name: channel for channel in channels}
        periods = {channel.name.partition(".")[0]: channel.period for channel in channels}
        self._pair = SameAir({"pair": settings}, by_name, periods).pairs["pair"]
        self._sinks = sinks
        self._held: tuple[list[_Reading], list[_Reading]] = ([], [])

    def side(self, number: int) -> "Side":
        """Give the sink that takes the readings of one side."""
        return Side(self, number)

    def take(self, side: int, times: Sequence[int], column: Column, sure: bool) -> None:
        """Take a column of one side, and pass on what both sides have come to."""
        held = self._held[side]
        held += map(_Reading, times, repeat(side), column.steps, column.marks, repeat(sure))
        if len(held) > _MOST:
            self._release(held[-1].t)
        elif all(self._held):
            self._release(min(one[-1].t for one in self._held))

    def close(self) -> None:
        """Pass on what is left."""
        self._release(max((one[-1].t for one in self._held if one), default=0))

    def _release(self, until: int) -> None:
        ready = [[one for one in held if one.t <= until] for held in self._held]
        for held in self._held:
            held[:] = [one for one in held if one.t > until]
        judged = [self._judged(one) for one in merge(*ready, key=lambda one: one.t)]
        for side, sink in enumerate(self._sinks):
            mine = [one for one in judged if one.side == side]
            if sink is not None and mine:
                column = Column([one.step for one in mine], bytes(one.mark for one in mine))
                sink.take([one.t for one in mine], column, all(one.sure for one in mine))

    def _judged(self, one: _Reading) -> _Reading:
        """Follow the pair; a reading that counts although the other part disagreed is good."""
        history = self._pair.sides[one.side].history
        known = history.last is not None and one.t <= history.last
        if known or one.step is None or one.mark not in _OWN_GOOD:
            return one
        history.add(one.t, one.step)
        self._pair.compare(one.t)
        if one.mark and self._pair.outranks(one.side, one.t):
            return one._replace(mark=int(Quality.GOOD))
        return one


class Side:
    """One side of a pair, as a sink."""

    def __init__(self, pair: Apart, number: int) -> None:
        """Give what comes to the pair."""
        self._pair, self._number = pair, number

    def take(self, times: Sequence[int], column: Column, sure: bool) -> None:
        """Take a column at its times."""
        self._pair.take(self._number, times, column, sure)
