"""Where a store has no room for all that was to be kept, that is recorded and told, once."""

from pathlib import Path

import pytest

import rooms
from daemon.storage.test_upkeep import Disk, filled
from fakes import FakeClock
from house import events
from ventwright.events import Record, StoreReport
from ventwright.notifying.messages import Context, compose
from ventwright.reporting.happenings import _Finder
from ventwright.settings.model import HOUR, Storage
from ventwright.storage import upkeep as tending
from ventwright.storage.keeping import Keeping, Labels
from ventwright.storage.upkeep import EVERY_EVENT, Upkeep
from ventwright.storage.writer import Writer

TIGHT = 0.06
"""MB, less than is in the store of these tests."""


def life(folder: Path, store: Writer, most: float, start: int) -> None:
    """Let the store's thread take a hundred turns, a minute each."""
    settings, clock = Storage(folder), FakeClock(start)
    object.__setattr__(settings, "most_megabytes", most)
    core = rooms.core(rooms.room(folder), start)
    reports: list[StoreReport] = []
    upkeep = Upkeep(settings, EVERY_EVENT, EVERY_EVENT, Disk())
    labels = Labels(lambda: 0, lambda: False)
    keeping = Keeping(store, clock, labels, 1000, reports.append, upkeep)
    for _ in range(100):
        clock.time += tending._EVERY_MS
        keeping._commit()
        keeping._tend()
        for report in reports:
            for action in core.handle(report):
                if isinstance(action, Record) and action.kind == "store":
                    store.add(action)
        reports.clear()
    keeping._commit()


def test_it_is_told_once_for_a_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tending, "LEAST", tending.LEAST._replace(readings=2))
    store = filled(tmp_path, 12)
    life(tmp_path, store, 2000, 20 * HOUR)
    assert events(tmp_path, "store") == []
    life(tmp_path, store, TIGHT, 30 * HOUR)
    life(tmp_path, store, TIGHT, 40 * HOUR)
    (told,) = events(tmp_path, "store")
    assert told.body == {"change": "shortened", "most": TIGHT}
    life(tmp_path, store, TIGHT / 2, 50 * HOUR)
    assert len(events(tmp_path, "store")) == 2
    store.close()
    finder = _Finder()
    finder.take(told.t, told)
    assert finder.all.losses == []
    message = compose(told, Context("Workshop", {}, time_of_day=lambda _t: None))
    assert message
    assert (message.key, message.priority) == ("store room", "low")
    assert message.title == "Workshop: readings are kept for less time than configured"
    assert f"it may use {TIGHT} MB (most_megabytes of [store])" in message.body
