"""Each statement of SQLite fails, once and for ever: in the store, in its upkeep, in the courier.

Every connection that either process opens counts, its opening included. Afterwards nothing that
was taken is missing or there twice: readings, events, points at the database, messages.
"""

import sqlite3
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from failing import Failing, every_call
from fakes import FakeClock
from stored import OFFSET, database, phone, points_in, points_of, samples_of, settings, writer
from ventwright.courier.accounts import counts
from ventwright.courier.file import file_path
from ventwright.courier.main import Courier
from ventwright.events import Readings, Record, StoreReport
from ventwright.exporting.database import DatabaseWriter
from ventwright.notifying.sender import Service
from ventwright.settings.model import HOUR, MINUTE
from ventwright.storage.keeping import Keeping, Labels
from ventwright.storage.pruning import Limits
from ventwright.storage.reader import Reader
from ventwright.storage.schema import store_path
from ventwright.storage.upkeep import Upkeep

ROUNDS = 2
WHOLE = (OFFSET // HOUR + 1) * HOUR - OFFSET
"""The first whole hour of Unix time, ms of the boot."""


def fragile(seam: Failing) -> type[sqlite3.Connection]:
    class Fragile(sqlite3.Connection):
        """A connection whose statements may fail."""

        def __init__(self, *words: Any, **named: Any) -> None:
            seam.strike()
            super().__init__(*words, **named)

        def execute(self, *words: Any) -> Any:
            seam.strike()
            return super().execute(*words)

        def executemany(self, *words: Any) -> Any:
            seam.strike()
            return super().executemany(*words)

        def executescript(self, script: str) -> Any:
            seam.strike()
            return super().executescript(script)

    return Fragile


class Life:
    """A keeper's store and a courier, their turns one after another on one clock."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.clock = folder, FakeClock(WHOLE)
        self.lines: set[str] = set()
        self.titles: Counter[str] = Counter()
        self.reports: list[StoreReport] = []
        phones = phone(folder, "json://127.0.0.1:9")
        self.settings = settings(folder, database=database("http://127.0.0.1:9"), phone=phones)
        labels = Labels(lambda: OFFSET, lambda: True)
        upkeep = Upkeep(self.settings.store)
        upkeep._limits = Limits(readings=1, minutes=2, hours=2, events=9)
        self.keeping = Keeping(
            writer(folder), self.clock, labels, 1000, self.reports.append, upkeep
        )
        self.courier = Courier(
            self.settings,
            self.clock,
            {},
            boot="boot-1",
            keeper_status=self._status,
            wall=lambda: OFFSET + self.clock.now(),
        )
        self.courier.chores._chores = []

    def _status(self) -> dict[str, Any]:
        store = {"failing": self.keeping.failing, "unstored": self.keeping.unstored}
        return {"store": store, "offset": OFFSET, "clock is right": True}

    def turn(self, wait: int) -> None:
        """Let everybody do what is due, after a wait (ms)."""
        self.clock.sleep_until(self.clock.now() + wait)
        if self.keeping._due is not None and self.clock.now() >= self.keeping._due:
            self.keeping._commit()
        self.keeping._tend()
        self.courier._guarded(self.courier.look)
        assert self.courier.pusher
        assert self.courier.notifier
        while self.courier._guarded(self.courier.pusher.step) == 0:
            pass
        self.courier._guarded(self.courier.notifier.step)

    def play(self, seam: Failing) -> None:
        for number in range(ROUNDS):
            for n in range(5):
                t = self.clock.now() + n
                reading = Readings(t, "bench", (number, n, None), b"\0\0\6")
                self.keeping._readings.append(reading)
                self.keeping._take(reading)
            body = {"change": "lost", "why": "no answer"}
            self.keeping._take(Record(self.clock.now(), "part", f"part-{number}", body))
            self.turn(0)
            self.turn(HOUR)
        seam.stop_counting()
        self.turn(MINUTE)
        seam.heal()
        for _ in range(20):
            self.turn(MINUTE)
        self.courier.close()
        self.keeping.finish()


def look(life: Life) -> None:
    """See that all is there, and once."""
    for file in (store_path(life.folder), file_path(life.folder)):
        with closing(sqlite3.connect(file)) as db:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    with closing(Reader(life.folder)) as reader:
        kinds = Counter((event.kind, event.subject) for event in reader.events())
        pruned = reader.pruned()
    parts = [f"part-{number}" for number in range(ROUNDS)]
    assert kinds == Counter(("part", name) for name in parts)
    assert samples_of(life.folder) + pruned == 5 * ROUNDS
    told = counts(life.folder)
    shares = ("pushed", "empty", "refused", "dropped", "gone", "waiting")
    assert sum(told[share] for share in shares) == 5 * ROUNDS
    assert told["waiting"] == told["messages_waiting"] == told["refused"] == told["dropped"] == 0
    points = points_in(life.lines)
    assert points_of(life.folder).items() <= points.items()
    assert len({t for *_, t in points}) == 5 * ROUNDS - told["gone"]
    lost = {f"Workshop: part {name} lost": 1 for name in parts}
    assert {title: n for title, n in life.titles.items() if "part-" in title} == lost
    assert max(life.titles.values()) == 1
    assert sum(bool(report.why) for report in life.reports) <= 1


@pytest.mark.parametrize("for_ever", [False, True])
def test_each_statement(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, for_ever: bool) -> None:
    connect: Callable[..., Any] = sqlite3.connect
    lives: list[Life] = []

    def write(_writer: Any, lines: bytes) -> None:
        lives[-1].lines.update(lines.decode().splitlines())

    def send(_service: Any, title: str, _body: str, _priority: str) -> str:
        lives[-1].titles[title] += 1
        return ""

    monkeypatch.setattr(DatabaseWriter, "write", write)
    monkeypatch.setattr(Service, "send", send)

    def live(at: int) -> Failing:
        seam = Failing(at, for_ever, lambda: sqlite3.OperationalError("disk I/O error"))
        kind = fragile(seam)
        with monkeypatch.context() as patch:
            given = {
                "factory": kind,
                "timeout": 0,
            }  # one after another: nobody has to be waited for
            patch.setattr(sqlite3, "connect", lambda *a, **k: connect(*a, **{**k, **given}))
            lives.append(Life(folder / str(at)))
            lives[-1].play(seam)
        look(lives[-1])
        return seam

    with TemporaryDirectory(dir="/dev/shm") as name:  # where a sync costs nothing
        folder = Path(name)
        tried = every_call(live)
    assert tried > 100
