"""A CSV as a log: its rows become samples of parts, judged anew, for one keeper that never died."""

import math
from collections.abc import Iterator
from itertools import chain, islice, pairwise
from operator import itemgetter
from pathlib import Path
from statistics import median

from ventwright.events import Event, LocalTime, Measured, Started
from ventwright.keeper.core import Core
from ventwright.keeper.labels import local_offset
from ventwright.quality.judge import PartKind
from ventwright.replaying.errors import ReplayError
from ventwright.replaying.items import Item, Saved, Start
from ventwright.replaying.rules import quantities_of
from ventwright.replaying.table import Row, Table
from ventwright.settings.findings import listed
from ventwright.settings.model import DAY, MINUTE, SECOND, Settings
from ventwright_drivers.part import Sample
from ventwright_drivers.quantities import QUANTITIES

_LOOKED_AT = 5000
"""Rows from which the time between samples is guessed."""

_BATCH = 500

_HUGE = 1e12

_LONGEST_GAP = DAY
"""After a longer gap a keeper begins anew, as after a day in which the machine was off."""

_OPTICAL = frozenset(q for q in QUANTITIES if q.startswith(("pm", "n0", "n1", "n2", "n5")))

_SELDOM = 10 * SECOND
"""Values that come more rarely than this may well repeat: no part is stuck for that."""

_CALM = 10
"""Nor for repeating so few of the steps in which its values were written down."""


class Feed:
    """A part and where its values are in a row."""

    def __init__(self, part: str, places: list[int | None]) -> None:
        """Take a place in the row for every quantity; None where the file has no such column."""
        self.part = part
        self._there = [place for place in places if place is not None]
        self._whole = self._there == places and len(places) > 1
        self._places = places
        self._get = itemgetter(*self._there) if self._whole else None

    def measured(self, row: Row) -> Measured | None:
        """Make a sample of a row; None if the row has no value of the part."""
        values = row.values
        if self._get:
            found = self._get(values)
        else:
            found = tuple([None if place is None else values[place] for place in self._places])
        if not any(found) and all(value is None for value in found):
            return None
        return Measured(row.t, self.part, Sample(found))


class LocalTimes:
    """Tells the core of the local time where quiet hours need it: by this machine's time zone."""

    def __init__(self, settings: Settings) -> None:
        """Know of none yet."""
        self._wanted = any(entry.quiet_hours for entry in settings.extractors.values())
        self._looked, self._local = -1, -1

    def begin(self) -> None:
        """Know that a core begins which has not been told."""
        self._looked, self._local = -1, -1

    def at(self, t: int) -> list[Event]:
        """Give what the core has to be told before `t`, Unix ms: also of summer time."""
        if not self._wanted or t // MINUTE == self._looked:
            return []
        self._looked, before = t // MINUTE, self._local
        self._local = local_offset(0, t)
        return [] if self._local == before else [LocalTime(t - 1, self._local)]


class RecordedLog:
    """A CSV file, to be played with a configuration's parts."""

    def __init__(self, path: Path) -> None:
        """Read the head of the file; raises ReplayError."""
        self.table = Table(path)
        self._path = path
        self.rows = 0
        self.periods: dict[str, int] = {}
        """Time between the samples of each part, ms, as guessed from the first rows."""

    @property
    def columns(self) -> list[str]:
        """The channels in the file."""
        return self.table.columns

    def feeds(self, settings: Settings) -> list[Feed]:
        """Find the parts that the file has values of; raises ReplayError if there is none."""
        known = [f"{name}.{q}" for name, e in settings.parts.items() for q in e.quantities]
        if not set(known) & set(self.columns):
            there = listed(self.columns)
            raise ReplayError(
                f"{self._path} has none of the configured channels: it has {there}, "
                f"and the configuration knows {listed(known)}."
            )
        place = {column: n for n, column in enumerate(self.columns)}
        return [
            Feed(name, [place.get(f"{name}.{q}") for q in entry.quantities])
            for name, entry in settings.parts.items()
            if quantities_of(name, [c for c in self.columns if c in known])
        ]

    def kinds(self, settings: Settings, known: dict[str, PartKind]) -> dict[str, PartKind]:
        """Tell what the parts of the file are: no warm-up, and the period that the rows show."""
        feeds = self.feeds(settings)
        head = list(islice(self.table.rows(), _LOOKED_AT))
        self.periods = {feed.part: _period(feed, head) for feed in feeds}
        calm = {feed.part: _CALM * _resolution(feed, head) for feed in feeds}
        return {
            name: _kind(
                entry.model, entry.quantities, self.periods.get(name), known.get(name)
            )._replace(calm=calm.get(name, 0.0))
            for name, entry in settings.parts.items()
        }

    def items(self, settings: Settings) -> Iterator[Item]:
        """Give the rows as samples in order; raises ReplayError at a row that cannot be read."""
        feeds, self.rows = self.feeds(settings), 0
        rows = self.table.rows()
        first = next(rows, None)
        if first is None:
            raise ReplayError(f"{self._path} has no rows.")
        local = LocalTimes(settings)
        yield from self._began(first.t, feeds)
        before = first.t
        batch: list[Event] = []
        for row in chain([first], rows):
            self.rows += 1
            if len(batch) >= _BATCH or row.t - before > _LONGEST_GAP:
                yield batch
                batch = []
            if row.t - before > _LONGEST_GAP:
                yield from self._began(row.t, feeds)
                local.begin()
            before = row.t
            batch += local.at(row.t)
            batch += filter(None, [feed.measured(row) for feed in feeds])
        yield batch

    def _began(self, t: int, feeds: list[Feed]) -> Iterator[Item]:
        begins = t - 1 - len(feeds)
        yield Start(begins - 1, 0, "csv", _take_back, carries=True)
        started: list[Event] = [Started(begins + n, f.part) for n, f in enumerate(feeds)]
        yield started


def _take_back(core: Core, saved: Saved | None) -> None:
    """Give a core the state of the one before: there is no store to fill its windows from."""
    if saved:
        core.restore_baselines(saved, same_boot=True)
        for channel in core.channels.values():
            channel.resume()
        core.restore(saved, same_boot=True)


def _period(feed: Feed, head: list[Row]) -> int:
    times = [row.t for row in head if feed.measured(row)]
    steps = [b - a for a, b in pairwise(times) if b > a]
    return min(round(median(steps)), _LONGEST_GAP) if steps else SECOND


def _resolution(feed: Feed, head: list[Row]) -> float:
    """Tell in what steps the part's values were written down, at most 1."""
    step = 100
    for row in head:
        sample = feed.measured(row)
        for value in sample.sample.values if sample else ():
            if value is not None and abs(value) < _HUGE:
                step = math.gcd(step, round(value * 100))
    return step / 100


def _kind(
    model: str, kept: tuple[str, ...], period: int | None, known: PartKind | None
) -> PartKind:
    optical = not _OPTICAL.isdisjoint(kept)
    period = period or (known.period if known else SECOND)
    if known:
        optical, model = known.optical, known.model
    return PartKind(model, kept, period, 10 * period, 0, optical and period <= _SELDOM)
