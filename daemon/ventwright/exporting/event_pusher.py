"""Pushes stored events from a mark on, a batch at a time; the pusher of readings calls it.

The mark moves on as that of readings does: once the database has confirmed a batch or refused
lines of it that were then set aside.
"""

import logging
from collections.abc import Callable

from ventwright.courier.file import CourierFile
from ventwright.exporting.event_progress import EventAside, EventGain, EventProgress
from ventwright.exporting.events import LOOK_BACK, lines_of_events
from ventwright.exporting.labels import BUILT_MS, TOO_EARLY, Labels
from ventwright.settings.model import Database
from ventwright.storage.reader import Page, Reader

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
        page = reader.page(progress.mark, self._size)
        offsets = {
            boot: self._labels.offset(boots[boot], boots)
            for boot in {event.boot for event in page.events} & boots.keys()
        }
        waits = next((e.id for e in page.events if offsets.get(e.boot) is None), None)
        due = page if waits is None else page.before(waits)
        if due.last > progress.mark:
            progress.advance(self._push(reader, progress.mark, due, offsets))
        return len(due.events) + len(due.spoilt) == self._size

    def _push(
        self,
        reader: Reader,
        mark: int,
        page: Page,
        offsets: dict[int, int | None],
    ) -> EventGain:
        """Send the events of a page, and say what became of all after the mark."""
        gain, events = EventGain(page.last), page.events
        gain.counts.gone = gain.mark - mark - len(events) - len(page.spoilt)
        labelled = [(event, offsets[event.boot] or 0) for event in events]
        sent = [(event, offset) for event, offset in labelled if event.t + offset >= BUILT_MS]
        kept = {event.id for event, _ in sent}
        gain.aside = [EventAside(e.id, "", TOO_EARLY) for e in events if e.id not in kept]
        gain.aside += [EventAside(n, "", f"cannot be read: {why}") for n, why in page.spoilt]
        gain.counts.dropped = len(gain.aside)
        before = reader.page(max(0, mark - LOOK_BACK), LOOK_BACK).before(mark + 1)
        lines = lines_of_events(self._start, before.events, sent)
        refused = self._send(lines) if lines else []
        gain.aside += [EventAside(sent[n][0].id, lines[n].decode(), why) for n, why in refused]
        gain.counts.refused = len(refused)
        gain.counts.pushed = len(sent) - len(refused)
        return gain
