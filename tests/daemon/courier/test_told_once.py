"""With any input, no notification is sent twice for one change.

A real core judges, a real store keeps its records, a real courier tells them to a real server: over
requests of the owner, deaths of the keeper and starts of the courier anew, a wall clock that steps,
and a phone that is out of reach at times.
"""

import json
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import rooms
import stored
from daemon.alarms.diagram import Told, follows_the_diagram, is_told_once, stands
from fakes import FakeClock
from receivers import Endpoint, Reply
from ventwright.alarms.states import State
from ventwright.courier.file import CourierFile
from ventwright.courier.main import Courier
from ventwright.events import Action, Readings, Record, Request, Started
from ventwright.keeper.core import Core
from ventwright.keeper.restore import restore
from ventwright.notifying.messages import Context, compose
from ventwright.storage.reader import Reader

SECOND, MINUTE, DAY = 1000, 60_000, 86_400_000


class Phone(Endpoint):
    """Takes messages while it is in reach, and keeps those it took."""

    def __init__(self) -> None:
        super().__init__()
        self.taken: list[tuple[str, str]] = []
        self.in_reach = True
        self.judge = self._judged

    def _judged(self, body: bytes) -> Reply:
        if not self.in_reach:
            return Reply(status=503)
        told = json.loads(body)
        self.taken.append((told["title"], told["message"]))
        return Reply()

    def keep(self, body: bytes) -> None:
        pass


@pytest.fixture(scope="module")
def owner() -> Iterator[Phone]:
    made = Phone()
    yield made
    made.close()


class Life:
    """A room from its air to its owner's phone."""

    def __init__(self, folder: Path, owner: Phone) -> None:
        self.owner, self.clock = owner, FakeClock(MINUTE)
        self.owner.taken.clear()
        self.owner.in_reach = True
        address = f"json://127.0.0.1:{owner.port}/?cto=20&rto=20"
        self.folder = folder
        self.settings = stored.settings(folder, phone=stored.phone(folder, address))
        self.core: Core = rooms.core(rooms.room(folder), self.clock.now())
        self.store = stored.writer(folder)
        self.stepped = 0
        self.courier = self.start()
        started = {"change": "started", "why": "first start", "missed": None, "restored": None}
        self.keep([Record(self.clock.now(), "keeper", "keeper", started)])
        self.keep(self.core.handle(Started(self.clock.now(), "bench")))

    def start(self) -> Courier:
        self.courier = Courier(
            self.settings,
            self.clock,
            {},
            boot="boot-1",
            keeper_status=lambda: {"store": {"failing": ""}},
            wall=lambda: stored.OFFSET + self.stepped + self.clock.now(),
        )
        return self.courier

    def keep(self, actions: list[Action]) -> None:
        """Store as the keeper does: the state of the core with every record, in one commit."""
        for action in actions:
            if isinstance(action, Record):
                self.store.keep("core", {"boot": "boot-1", **self.core.save()})
                self.store.add(action)
                self.store.commit()
            elif isinstance(action, Readings):
                self.store.add(action)

    def die(self) -> None:
        """Kill the keeper, which takes what is not committed with it, and start it again."""
        self.store.close()
        self.store = stored.writer(self.folder)
        self.core = rooms.core(rooms.room(self.folder), self.clock.now())
        reader = Reader(self.folder)
        before = restore(self.core, reader, "boot-1")
        reader.close()
        started = {"change": "started", **before._asdict()}
        self.keep([Record(self.core.now, "keeper", "keeper", started)])
        self.keep(self.core.handle(Started(self.clock.now(), "bench")))

    def breathe(self, level: float | None, seconds: int) -> None:
        end = self.clock.now() + seconds * SECOND
        while self.clock.now() < end:
            self.clock.sleep_until(self.clock.now() + SECOND)
            if level is None:
                self.keep(self.core.advance(self.clock.now()))
            else:
                value = level + self.clock.now() // SECOND % 2
                self.keep(self.core.handle(rooms.measured(self.clock.now(), value)))
            if self.clock.now() % (7 * SECOND) == 0:
                self.tell()

    def ask(self, verb: str, **words: Any) -> None:
        request = Request(self.core.now + 1, "ada", verb, {"name": "print", **words})
        self.keep(self.core.handle(request))

    def tell(self) -> None:
        self.courier.look()
        assert self.courier.notifier is not None
        self.courier.notifier.step()

    def restart(self) -> None:
        self.courier.close()
        self.start()

    def end(self) -> None:
        """Let the phone be in reach until nothing waits."""
        self.owner.in_reach = True
        for _ in range(400):
            self.clock.sleep_until(self.clock.now() + 5 * SECOND)
            self.keep(self.core.advance(self.clock.now()))
            self.tell()
            assert self.courier.notifier is not None
            if self.courier.notifier.idle():
                break

    def deserving(self) -> Counter[tuple[int, str]]:
        """The changes that deserve a message, by time and subject."""
        reader = Reader(self.folder)
        context = Context(self.settings.room.name, {}, time_of_day=lambda _t: None)
        found = Counter(
            (event.t, message.key)
            for event in reader.events(0)
            if (message := compose(event, context)) is not None
        )
        reader.close()
        return found

    def changes(self) -> list[Told]:
        """What became of the alarm."""
        reader = Reader(self.folder)
        found = [event.body for event in reader.events_of("alarm")]
        reader.close()
        return [(body["change"], State(body["state"])) for body in found]

    def rows(self, query: str) -> list[Any]:
        file = CourierFile(self.folder)
        try:
            return file.db.execute(query).fetchall()
        finally:
            file.close()

    def close(self) -> None:
        self.store.close()
        self.courier.close()


steps = st.one_of(
    st.tuples(st.just("air"), st.sampled_from([2.0, 9.0, 12.0, 40.0, 90.0, None])),
    st.tuples(st.just("owner"), st.sampled_from(["acknowledge", "shelve", "unshelve", "reset"])),
    st.tuples(st.just("phone"), st.booleans()),
    st.tuples(st.just("courier"), st.none()),
    st.tuples(st.just("keeper"), st.none()),
    st.tuples(st.just("wall"), st.sampled_from([-40 * DAY, -DAY, -MINUTE, MINUTE, DAY, 40 * DAY])),
)


def live(life: Life, kind: str, what: Any, seconds: int) -> None:
    if kind == "air":
        life.breathe(what, seconds)
    elif kind == "owner":
        life.ask(what, **({"for": 30 * SECOND} if what == "shelve" else {}))
    elif kind == "phone":
        life.owner.in_reach = what
    elif kind == "wall":
        life.stepped += what
    elif kind == "keeper":
        life.die()
    else:
        life.restart()


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.tuples(steps, st.sampled_from([3, 15, 60])), min_size=4, max_size=14))
def test_no_notification_is_sent_twice_for_one_change(owner: Phone, story: list[Any]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        life = Life(Path(folder), owner)
        try:
            life.breathe(2.0, 30)
            for (kind, what), seconds in story:
                live(life, kind, what, seconds)
            life.breathe(2.0, 90)
            life.end()
            told = Counter((t, key) for t, key in life.rows("SELECT t, key FROM messages"))
            deserving = life.deserving()
            assert told <= deserving  # one message a change, no more
            missed = {key for _, key in deserving - told}
            assert missed <= {"keeper"}  # starts again and again are one message
            delivered = life.rows("SELECT message FROM deliveries WHERE outcome = 'delivered'")
            assert len(owner.taken) == len(delivered)  # each of them taken once
            assert is_told_once(life.changes())
            assert follows_the_diagram(life.changes())
            assert not stands(life.changes())
        finally:
            life.close()
