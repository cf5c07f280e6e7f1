"""Stored blocks as readings in the order of their times, whatever the parts."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from itertools import repeat
from operator import attrgetter

from ventwright.events import Readings
from ventwright.quality.marks import Quality
from ventwright.replaying.counts import Counts
from ventwright.storage.blocks import Column
from ventwright.storage.reader import StoredBlock, StoredPart

_time = attrgetter("t")


class Unpacker:
    """Makes readings of blocks, as the configured parts keep their quantities."""

    def __init__(self, kept: Mapping[str, tuple[str, ...]]) -> None:
        """Take the quantities that each part is to have, in order; others are left away."""
        self._kept = kept
        self.counts = Counts()
        self.left_out: set[str] = set()
        """Channels of the log that the configuration does not know."""
        self.damaged = 0

    def readings(self, block: StoredBlock) -> list[Readings]:
        """Unpack a block; nothing if it is damaged (counted) or of a part that is not known."""
        name, kept = block.part.name, self._kept.get(block.part.name, ())
        self._note_left_out(block.part, kept)
        wanted = [q for q in kept if q in block.part.quantities]
        if not wanted:
            return []
        try:
            times, columns = block.open()
        except ValueError:
            self.damaged += 1
            return []
        there = dict(zip(block.part.quantities, columns, strict=True))
        for quantity in wanted:
            self.counts.column(f"{name}.{quantity}", there[quantity])
        none = Column([None] * len(times), bytes([Quality.FAILED]) * len(times))
        return _rows(name, times, [there.get(quantity, none) for quantity in kept])

    def _note_left_out(self, part: StoredPart, kept: tuple[str, ...]) -> None:
        self.left_out.update(f"{part.name}.{q}" for q in part.quantities if q not in kept)


def _rows(name: str, times: list[int], columns: list[Column]) -> list[Readings]:
    steps = zip(*(column.steps for column in columns), strict=True)
    marks: Iterable[bytes] = repeat(bytes(len(columns)))
    if any(any(column.marks) for column in columns):
        marks = map(bytes, zip(*(column.marks for column in columns), strict=True))
    return list(map(Readings, times, repeat(name), steps, marks))


def in_order(
    blocks: Iterable[StoredBlock], unpacker: Unpacker
) -> Iterator[tuple[int, list[Readings]]]:
    """Give boots and their readings in order, holding little more than two commits.

    A commit writes at most one block a part, all of them later than the commit before it. So
    once a part comes again, nothing that is unread is older than what that part had before.
    """
    boot, settled, waiting = 0, -1, list[Readings]()
    newest: dict[str, int] = {}
    for block in blocks:
        if block.boot != boot:
            yield boot, sorted(waiting, key=_time)
            boot, settled, waiting, newest = block.boot, -1, [], {}
        settled = max(settled, newest.get(block.part.name, -1))
        newest[block.part.name] = block.last
        waiting.sort(key=_time)
        ready = _count_until(waiting, settled)
        yield boot, waiting[:ready]
        waiting = waiting[ready:] + unpacker.readings(block)
    yield boot, sorted(waiting, key=_time)


def _count_until(readings: list[Readings], t: int) -> int:
    """Count the readings up to `t` ms, in a list that is in order."""
    return bisect_right(readings, t, key=_time)
