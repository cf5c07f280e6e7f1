"""A store as a log: its keepers, its readings as they were judged, and what people asked."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from functools import partial
from heapq import merge
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import NamedTuple

from ventwright.events import Event, LocalTime, Readings, Request
from ventwright.replaying.blocks import Unpacker, in_order
from ventwright.replaying.decisions import DECIDED
from ventwright.replaying.items import Item, Save, Start, Until
from ventwright.replaying.past import refill
from ventwright.storage.reader import Boot, Reader, StoredBlock, StoredEvent


class Happening(NamedTuple):
    """An item at its place in the log."""

    boot: int
    t: int
    item: Item


_PAGE = 100

_place = itemgetter(0, 1)
_time = attrgetter("t")


def all_events(reader: Reader) -> Iterator[StoredEvent]:
    """Read every event in order, holding a thousand at a time."""
    after = 0
    while found := reader.events(after):
        yield from found
        after = found[-1].id


def all_blocks(reader: Reader) -> Iterator[StoredBlock]:
    """Read every block in order, holding few at a time."""
    after = 0
    while found := reader.blocks(after, _PAGE):
        yield from found
        after = found[-1].id


class StoredLog:
    """The store in a folder, to be played."""

    def __init__(self, folder: Path) -> None:
        """Open the store; raises sqlite3.Error if there is none."""
        self._folder = folder
        self._reader = Reader(folder)
        self._boots = self._reader.boots()

    def close(self) -> None:
        """Close the store."""
        self._reader.close()

    def items(self, unpacker: Unpacker) -> Iterator[Item]:
        """Give the log's items in order."""
        boot = 0
        for place in self._merged(unpacker):
            if place.boot != boot and not isinstance(place.item, Start):
                yield self._start(self._boots[place.boot], place.t - 1, carries=True)
            boot = place.boot
            yield place.item

    def _merged(self, unpacker: Unpacker) -> Iterator[Happening]:
        """Put readings and happenings in one order; at one time the readings come first."""
        happenings = merge(self._happenings(), self._saves(), key=_place)
        coming = next(happenings, None)
        for boot, readings in in_order(all_blocks(self._reader), unpacker):
            done = 0
            while coming and readings and _place(coming) < (boot, readings[-1].t):
                here = bisect_right(readings, coming.t, key=_time) if coming.boot == boot else 0
                yield from _batch(boot, readings[done:here])
                yield coming
                done, coming = max(done, here), next(happenings, None)
            yield from _batch(boot, readings[done:])
        if coming:
            yield coming
        yield from happenings

    def _happenings(self) -> Iterator[Happening]:
        for event in all_events(self._reader):
            try:
                item = self._item(event)
            except (KeyError, TypeError):  # a spoilt one, which lacks what its kind has
                item = Until(event.t, decided=False)
            yield Happening(event.boot, event.t, item)

    def _item(self, event: StoredEvent) -> Item:
        body = event.body
        if event.kind == "request":
            return [Request(event.t, body["who"], body["verb"], body["words"])]
        if event.kind == "clock":
            return [LocalTime(event.t, body["local"])]
        if event.kind == "keeper" and body["change"] == "started":
            carries = body.get("restored", 0) is not None
            return self._start(self._boots[event.boot], event.t, carries)
        return Until(event.t, event.kind in DECIDED)

    def _start(self, boot: Boot, t: int, carries: bool) -> Start:
        fill = partial(refill, self._folder, (boot.id, boot.name))
        return Start(t, boot.offset, boot.name, fill, carries)

    def _saves(self) -> Iterator[Happening]:
        """Tell when every keeper saved what the next one took back."""
        boot = None
        for event in all_events(self._reader):
            if event.kind != "keeper" or event.body.get("change") != "started":
                continue
            restored = event.body.get("restored")
            if boot is not None and restored is not None:
                yield Happening(boot, restored, Save(restored))
            boot = event.boot


def _batch(boot: int, readings: list[Readings]) -> Iterable[Happening]:
    if not readings:
        return ()
    events: list[Event] = list(readings)
    return (Happening(boot, readings[0].t, events),)
