"""The keeper lets events go only as far as the real courier says by its word, and by age else."""

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fakes import FakeClock, wiring
from receivers import Reply, endpoint
from stored import OFFSET, database, owned, phone, record, settings, writer
from ventwright.control.server import Asked, Server
from ventwright.courier.accounts import counts
from ventwright.courier.main import Courier
from ventwright.events import Readings
from ventwright.keeper.process import Keeper
from ventwright.storage.keeping import Labels
from ventwright.storage.pruning import Limits
from ventwright.storage.reader import Reader
from ventwright.storage.reducing import reduce_next
from ventwright.storage.writer import Writer

HOUR = 3_600_000
HOURS = 12


def filled(folder: Path) -> Writer:
    store = writer(folder, offset=OFFSET // HOUR * HOUR)
    for n in range(HOURS):
        for k in range(60):
            store.add(Readings(n * HOUR + 60_000 * k, "bench", (1, 1, 1), bytes(3)))
        record(store, "alarm", "print", n * HOUR, change="raised", n=n)
    while store.tend(lambda db, boot: reduce_next(db, boot, 20 * HOUR)):
        pass
    return store


def left(folder: Path) -> list[int]:
    reader = Reader(folder)
    found = [event.body["n"] for event in reader.events()]
    reader.close()
    return found


class Both:
    """A keeper with a store of twelve hours, and a courier that sends it word."""

    def __init__(self, folder: Path, keep: int, **given: Any) -> None:
        self.folder, self.store = folder, filled(folder)
        configured = settings(folder, **given)
        clock = FakeClock(20 * HOUR)
        bare = dataclasses.replace(configured, parts={})
        labels = Labels(lambda: OFFSET, lambda: True)
        self.keeper = Keeper(bare, wiring(clock), "boot-1", labels)
        self.keeper._upkeep._limits = Limits(30, 30, 30, keep)
        self.server = Server(configured.socket, self._take)
        self.server.start()
        self.courier = Courier(configured, clock, {}, boot="boot-1")
        self.now = 20 * HOUR

    def _take(self, asked: Asked) -> None:
        asked.reply.put(self.keeper._told(asked.words))

    def send_word(self) -> None:
        self.courier._intake.step()
        assert self.courier._timetable()[-1].do()

    def prune(self) -> list[int]:
        for _ in range(5):
            self.now += 60_000
            self.keeper._upkeep.step(self.store, self.now)
        return left(self.folder)

    def close(self) -> None:
        for thing in (self.server, self.courier, self.store):
            thing.close()


@pytest.fixture
def both(tmp_path: Path) -> Callable[..., Both]:
    return lambda keep, **given: owned(Both(tmp_path / "store", keep, **given))


def test_what_is_told_waits_until_it_is_pushed(both: Callable[..., Both]) -> None:
    with endpoint() as base:
        base.judge = lambda _body: Reply(503)
        house = both(6, database=database(base.url, batch=4))
        assert house.courier.pusher
        assert house.courier.pusher.step() > 0
        house.send_word()
        assert house.prune() == list(range(HOURS))
        base.judge = lambda _body: None
        while max(map(events_in, base.requests), default=0) == 0:
            house.courier.pusher.step()
        house.courier.pusher.save()
        house.send_word()
        assert house.prune() == list(range(4, HOURS))
        assert house.courier.drain(HOUR)
        house.send_word()
        assert house.prune() == list(range(6, HOURS))
        house.close()
    assert counts(house.folder)["events_gone"] == 0


def events_in(request: Any) -> int:
    return int(request.body.count(b"_events,"))


def test_a_database_that_is_down_for_ever_holds_events_up_to_twice_their_age(
    both: Callable[..., Both],
) -> None:
    with endpoint() as base:
        base.judge = lambda _body: Reply(503)
        house = both(3, database=database(base.url))
        house.send_word()
        assert house.prune() == list(range(6, HOURS))
        base.judge = lambda _body: None
        assert house.courier.drain(HOUR)
        house.close()
    assert counts(house.folder)["events_gone"] == 6
    assert counts(house.folder)["events_pushed"] == 6


def test_what_is_pushed_waits_until_it_is_told(both: Callable[..., Both], tmp_path: Path) -> None:
    with endpoint() as base:
        told = phone(tmp_path / "phone", "json://127.0.0.1:9")
        house = both(3, database=database(base.url), phone=told)
        assert house.courier._drain_pusher() is None
        assert house.prune() == list(range(HOURS))
        house.send_word()
        assert house.prune() == list(range(9, HOURS))
        house.close()


def test_without_a_database_only_telling_is_waited_for(
    both: Callable[..., Both], tmp_path: Path
) -> None:
    house = both(6, phone=phone(tmp_path / "phone", "json://127.0.0.1:9"))
    assert house.prune() == list(range(HOURS))
    house.send_word()
    assert house.prune() == list(range(6, HOURS))
    house.close()
