"""Pushes stored blocks to the database from a high-water mark on, each batch by one write, and
after each a batch of events.

The mark moves on only after the database has confirmed a batch, or has refused lines of it
that were then set aside. Sending a batch again is harmless: its times never change.
"""

import logging
import sqlite3
from collections.abc import Callable
from itertools import accumulate
from typing import NamedTuple

from ventwright.courier.file import CourierFile
from ventwright.courier.stock import Stock
from ventwright.exporting.backoff import Backoff
from ventwright.exporting.errors import Unavailable
from ventwright.exporting.event_pusher import EventPusher
from ventwright.exporting.labels import BUILT_MS, TOO_EARLY, Labels
from ventwright.exporting.lines import Lines, head, lines_of, time_of
from ventwright.exporting.progress import Gain, Progress, SetAside
from ventwright.exporting.sending import Sending
from ventwright.settings.model import MINUTE, Database
from ventwright.storage.reader import Boot, Reader, StoredBlock
from ventwright_drivers.clock import Clock

SAVE_EVERY_MS = 5 * MINUTE
TOLD_AFTER_MS = 15 * MINUTE
_BLOCKS_AT_ONCE = 100

log = logging.getLogger(__name__)


class _Prepared(NamedTuple):
    """A block ready to be sent."""

    block: StoredBlock
    lines: list[bytes]
    gain: Gain


class _Batch(NamedTuple):
    """Blocks to be sent together, and whether more wait behind them."""

    items: list[_Prepared]
    more: bool


class Pusher:
    """Pushes; `step` does one batch and says how long to wait before the next."""

    def __init__(
        self,
        file: CourierFile,
        stock: Stock,
        write: Callable[[bytes], None],
        options: Database,
        room: str,
        clock: Clock,
        told: Callable[[int | None, bool], None],
    ) -> None:
        """Push by `write`, which raises Refused or Unavailable.

        `told` is called with the time (ms) since when the database has not answered, once that
        has lasted 15 min, and with None at every success; and whether it takes all but events.
        """
        self._file, self._stock, self._write = file, stock, write
        self._options, self._room, self._clock, self._told = options, room, clock, told
        self._labels = Labels(file)
        self._events = EventPusher(file, self._labels, options, room, self._send)
        self._backoff = Backoff()
        self._progress: Progress | None = None
        self._store = ""
        self._save_due = 0
        self._took = self._behind = False
        """Whether the database has ever taken something in this run."""
        self._answers = False
        """Whether it has taken something in this step."""
        self._events_only = False
        """Whether, while it fails, it has taken readings, but no events."""
        self.failing: int | None = None
        """Since when the database has not taken anything, ms of the clock; None if it has."""
        self.outcomes: dict[str, str] = {}
        """Why the database did not take the latest readings, or nothing, under its bucket."""

    def step(self) -> int:
        """Push one batch; return the time to wait, ms. Raises sqlite3.Error."""
        reader = self._stock.reader()
        if reader is None:
            return self._options.push_every
        progress = self._attached()
        self._answers = False
        try:
            more = self._readings(reader, progress)
        except Unavailable as error:
            self._events_only = False
            return self._failed(error)
        try:
            more = self._events.step(reader) or more
        except Unavailable as error:
            self._events_only |= self._answers
            self._save(progress)
            wait = self._failed(error)
            return 0 if more and self._answers else wait  # readings do not wait for events
        if self._answers:
            self._worked()
        caught_up, self._behind = self._behind and not more, more
        if caught_up:
            self._save_due = self._clock.now()
        self._save(progress)
        return 0 if more else self._options.push_every

    def _readings(self, reader: Reader, progress: Progress) -> bool:
        """Push a batch of readings; tell whether more wait. Raises Unavailable."""
        if progress.mark > reader.last_block():
            log.warning("the store has fewer readings than were pushed: all are pushed again")
            progress.begin_anew()
        batch = self._gather(reader, progress.mark)
        gain = self._push(batch)
        if batch.items:
            self._note_gone(gain, batch.items[0].block.id, progress, reader)
            progress.advance(batch.items[-1].block.id, gain)
        return batch.more

    @staticmethod
    def _note_gone(gain: Gain, block: int, progress: Progress, reader: Reader) -> None:
        """Count what was pruned between the mark and the block that was found behind it."""
        missing = block - progress.mark - 1
        if missing:
            gain.blocks_gone += missing if progress.mark else 0
            gain.gone += max(0, reader.pruned() - progress.samples)

    def _attached(self) -> Progress:
        if self._progress is None or self._store != self._stock.identity:
            self._events.attach(self._stock.identity)
            self._progress = Progress(self._file, self._stock.identity)
            self._store = self._stock.identity
        return self._progress

    def _gather(self, reader: Reader, mark: int) -> _Batch:
        boots = reader.boots()
        blocks = reader.blocks(mark, _BLOCKS_AT_ONCE)
        items: list[_Prepared] = []
        total = 0
        for block in blocks:
            item = self._prepare(block, boots)
            if item is None:
                return _Batch(items, more=False)
            total += len(item.lines)
            if items and total > self._options.batch:
                return _Batch(items, more=True)
            items.append(item)
        return _Batch(items, more=len(blocks) == _BLOCKS_AT_ONCE)

    def _prepare(self, block: StoredBlock, boots: dict[int, Boot]) -> _Prepared | None:
        """Make the lines of a block, or None while its labels may still change."""
        boot = boots.get(block.boot)
        offset = None if boot is None else self._labels.offset(boot, boots)
        if offset is None:
            return None
        gain = Gain()
        try:
            made = self._lines(block, offset)
        except (ValueError, KeyError) as error:
            gain.drop(SetAside(block.id, block.samples, "", f"cannot be read: {error}"))
            return _Prepared(block, [], gain)
        lines = made.lines
        if block.first + offset < BUILT_MS:
            lines = [line for line in lines if time_of(line) >= BUILT_MS]
            early = len({time_of(line) for line in made.lines}) - len({*map(time_of, lines)})
            gain.drop(SetAside(block.id, early, "", TOO_EARLY))
        gain.empty = made.empty
        gain.pushed = block.samples - gain.empty - gain.dropped
        return _Prepared(block, lines, gain)

    def _lines(self, block: StoredBlock, offset: int) -> Lines:
        start = head(self._options.measurement, self._room, block.part)
        return lines_of(block.open(), block.part.quantities, start, offset)

    def _push(self, batch: _Batch) -> Gain:
        """Send a batch and return what became of it; raises Unavailable."""
        lines = [line for item in batch.items for line in item.lines]
        ends = list(accumulate(len(item.lines) for item in batch.items))
        gain = Gain()
        for item in batch.items:
            gain.add(item.gain)
        refused: set[tuple[int, int]] = set()
        for place, reason in self._send(lines):
            block = batch.items[next(i for i, end in enumerate(ends) if place < end)].block
            fresh = (block.id, time_of(lines[place])) not in refused
            refused.add((block.id, time_of(lines[place])))
            gain.aside.append(SetAside(block.id, int(fresh), lines[place].decode(), reason))
        gain.refused += len(refused)
        gain.pushed -= len(refused)
        return gain

    def _send(self, lines: list[bytes]) -> list[tuple[int, str]]:
        """Send lines and return the place and reason of each refused one; raises Unavailable."""
        sending = Sending(lines, self._options.batch, self._write, self._took)
        try:
            return sending.run(lambda: self._clock.stopped)
        finally:
            self._took |= sending.took
            self._answers |= sending.took

    def _failed(self, error: Unavailable) -> int:
        now = self._clock.now()
        takes = "readings, but no events" if self._events_only else "nothing"
        self.outcomes[self._options.bucket] = f"it takes {takes}: {error}"
        if self.failing is None:
            self.failing = now
            log.warning("the database takes %s now, the rest is kept: %s", takes, error)
        wait = self._backoff.failed(error.asked)
        if now - self.failing >= TOLD_AFTER_MS:
            self._told(self.failing, self._events_only)
        return wait

    def _worked(self) -> None:
        if self.failing is not None:
            log.warning("the database takes readings again")
        self.failing, self._events_only = None, False
        self.outcomes[self._options.bucket] = ""
        self._backoff.worked()
        self._told(None, False)

    def _save(self, progress: Progress) -> None:
        now = self._clock.now()
        events = self._events.progress
        if progress.urgent or (events and events.urgent) or now >= self._save_due:
            self._save_due = now + SAVE_EVERY_MS
            self.save()

    def save(self) -> None:
        """Save how far pushing has come; what cannot be saved is kept and saved later."""
        if self._progress is None:
            return
        try:
            self._progress.save()
            if self._events.progress:
                self._events.progress.save()
        except (sqlite3.Error, OSError) as error:
            log.warning("cannot save what was pushed: %s", error)
