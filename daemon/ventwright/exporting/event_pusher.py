"""Pushes stored events from a mark on, a batch at a time; the pusher of readings calls it.

The mark moves on as that of readings does: once the database has confirmed a batch or refused
lines of it that were then set aside.
"""

import logging
from collections.abc import Callable
from itertools import takewhile

from ventwright.courier.file import CourierFile
from ventwright.exporting.event_progress import EventAside, EventGain, EventProgress
from ventwright.exporting.events import LOOK_BACK, lines_of_events
from ventwright.exporting.labels import BUILT_MS, TOO_EARLY, Labels
from ventwright.settings.model import Database
from ventwright.storage.reader import Reader, StoredEvent

_AT_ONCE = 1000

Send = Callable[[list[bytes]], list[tuple[int, str]]]
"""Sends lines and gives the place and reason of each that was refused; raises Unavailable."""

log = logging.getLogger(__name__)


class EventPusher:
    """Knows which events are due; how lines are sent is told by its caller."""

    def __init__(
        self, file: CourierFile, labels: Labels, options: Database, room: str, send: Send
    ) -> None:
        """Push by `send`; the labels are those of readings."""
        self._file, self._labels, self._send = file, labels, send
        self._start = (options.measurement, room)
        self._size = min(options.batch, _AT_ONCE)
        self.progress: EventProgress | None = None

    def attach(self, store: str) -> None:
        """Begin where pushing of a store's events ended; raises sqlite3.Error."""
        self.progress = EventProgress(self._file, store)

    def step(self, reader: Reader) -> bool:
        """Push a batch; tell whether more wait. Raises Unavailable, sqlite3.Error."""
        progress = self.progress
        assert progress is not None
        if progress.mark > reader.newest_event():
            log.warning("the store has fewer events than were pushed: all are pushed again")
            progress.begin_anew()
        boots = reader.boots()
        found = reader.events(progress.mark, self._size)
        offsets = {
            boot: self._labels.offset(boots[boot], boots)
            for boot in {event.boot for event in found} & boots.keys()
        }
        due = [*takewhile(lambda event: offsets.get(event.boot) is not None, found)]
        if due:
            progress.advance(self._push(reader, progress.mark, due, offsets))
        return len(due) == self._size

    def _push(
        self,
        reader: Reader,
        mark: int,
        events: list[StoredEvent],
        offsets: dict[int, int | None],
    ) -> EventGain:
        """Send events, and say what became of all after the mark."""
        gain = EventGain(events[-1].id)
        gain.counts.gone = gain.mark - mark - len(events)
        labelled = [(event, offsets[event.boot] or 0) for event in events]
        sent = [(event, offset) for event, offset in labelled if event.t + offset >= BUILT_MS]
        kept = {event.id for event, _ in sent}
        gain.aside = [EventAside(e.id, "", TOO_EARLY) for e in events if e.id not in kept]
        gain.counts.dropped = len(gain.aside)
        before = reader.events(max(0, events[0].id - LOOK_BACK - 1), LOOK_BACK)
        lines = lines_of_events(
            self._start, (event for event in before if event.id < events[0].id), sent
        )
        refused = self._send(lines) if lines else []
        gain.aside += [EventAside(sent[n][0].id, lines[n].decode(), why) for n, why in refused]
        gain.counts.refused = len(refused)
        gain.counts.pushed = len(sent) - len(refused)
        return gain
