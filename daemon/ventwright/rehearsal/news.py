"""What the rehearsal learns from the store, as it is committed: events and one channel."""

import sqlite3
from collections import Counter
from pathlib import Path

from ventwright.means.channel import Channel
from ventwright.quality.marks import Quality
from ventwright.rehearsal.world import START_MS
from ventwright.settings.model import MINUTE
from ventwright.storage.reader import Reader, StoredEvent
from ventwright_drivers.quantities import QUANTITIES
from ventwright_drivers.registry import parts

_HALF = 0.5


def seconds_of(t: int) -> float:
    """Turn a time of the rehearsal's boot, ms, into s since its start."""
    return (t - START_MS) / 1000


class News:
    """The store, read bit by bit; it may not be there yet."""

    def __init__(self, store: Path, watched: str) -> None:
        """Follow the channel `watched` of the store in a folder."""
        self._folder = store
        self._part, _, quantity = watched.partition(".")
        self._quantity = QUANTITIES[quantity]
        self._reader: Reader | None = None
        self._event = self._block = 0
        self._channel: Channel | None = None
        self.unit = self._quantity.unit

    def _open(self) -> Reader | None:
        if self._reader is None:
            try:
                self._reader = Reader(self._folder, growing=True)
            except sqlite3.Error:
                return None
        return self._reader

    def events(self) -> list[StoredEvent]:
        """Take the events that were committed since the last call, in order."""
        reader = self._open()
        try:
            found = reader.events(self._event) if reader else []
        except sqlite3.Error:  # its tables are just being made
            return []
        if found:
            self._event = found[-1].id
        return found

    def look(self) -> tuple[float | None, float | None]:
        """Give mean over 1 min and rise of the watched channel, as far as it is stored."""
        self._follow()
        channel = self._channel
        if channel is None or channel.history.last is None:
            return None, None
        mean = channel.mean(channel.history.last, MINUTE, _HALF).value
        base = channel.base
        return mean, None if mean is None or base is None else mean - base

    def _follow(self) -> None:
        reader = self._open()
        for block in reader.blocks(self._block) if reader else []:
            self._block = block.id
            if block.part.name != self._part:
                continue
            times, columns = block.open()
            column = columns[block.part.quantities.index(self._quantity.name)]
            rows = zip(times, column.steps, column.marks, strict=True)
            good = [(t, s) for t, s, mark in rows if mark == Quality.GOOD and s is not None]
            self._of(block.part.model).load([t for t, _ in good], [s for _, s in good])

    def _of(self, model: str) -> Channel:
        if self._channel is None:
            period = parts()[model].period_ms
            self._channel = Channel(self._part, self._quantity, period)
            self._channel.watch(MINUTE)
        return self._channel

    def stored(self) -> dict[str, int]:
        """Count the readings in the store, by channel."""
        count: Counter[str] = Counter()
        reader = self._open()
        for block in reader.all_blocks() if reader else ():
            for name, column in zip(block.part.quantities, block.open().columns, strict=True):
                count[f"{block.part.name}.{name}"] += block.samples - column.steps.count(None)
        return dict(count)

    def close(self) -> None:
        """Close the store."""
        if self._reader is not None:
            self._reader.close()
