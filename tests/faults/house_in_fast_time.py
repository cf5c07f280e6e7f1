"""Keeper's core, store and the whole courier on one fake clock, with faults by a schedule.

Real parts: the core, the store on a real disk, the courier with its libraries, HTTP servers.
Left out: ports and threads of the keeper, which have tests of their own.
"""

import json
import random
import threading
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from bench.load import PARTS
from bench.load import settings as load_settings
from fakes import FakeClock
from receivers import Endpoint, Reply
from ventwright.courier.main import Courier
from ventwright.events import Measured, Readings, Record, Started, StoreReport, Trouble
from ventwright.keeper.core import Core
from ventwright.keeper.restore import restore
from ventwright.replaying.kinds import kinds_of
from ventwright.settings.model import HOUR, MINUTE, Alarm, Database, Phone, Settings
from ventwright.storage.keeping import Keeping, Labels, State
from ventwright.storage.reader import Reader
from ventwright.storage.upkeep import Upkeep
from ventwright.storage.writer import Writer
from ventwright_drivers.part import Sample

OFFSET = 1_790_000_000_000
BOOT = "boot-fast"


class Size(NamedTuple):
    """What must not grow."""

    resident_kb: int
    threads: int
    descriptors: int
    store: int
    wal: int
    courier: int
    written: int


def size(folder: Path) -> Size:
    status = Path("/proc/self/status").read_text().splitlines()
    told = dict(line.split(":", 1) for line in status)
    io = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    names = ("readings.sqlite", "readings.sqlite-wal", "courier.sqlite")
    files = [(folder / n).stat().st_size if (folder / n).exists() else 0 for n in names]
    return Size(
        int(told["VmRSS"].split()[0]),
        threading.active_count(),
        len(list(Path("/proc/self/fd").iterdir())),
        *files,
        int(io["write_bytes"]),
    )


class Sink(Endpoint):
    """A server that counts what it gets and keeps titles only."""

    def __init__(self) -> None:
        super().__init__()
        self.titles: Counter[str] = Counter()
        self.taken = 0

    def keep(self, body: bytes) -> None:
        self.requests.clear()
        if body.startswith(b"{"):
            self.titles[json.loads(body)["title"]] += 1
        else:
            self.taken += body.count(b"\n") + 1


class Fast:
    """The house; `run` lets time pass."""

    def __init__(
        self,
        folder: Path,
        database: str,
        phone: str,
        period: int,
        offset: int = OFFSET,
        right: bool = True,
    ) -> None:
        """Sample every part each `period` ms."""
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.period = folder, period
        self.clock = FakeClock(HOUR)
        self.settings = self._settings(folder, database, phone)
        pace = {"period": period, "silence": 3 * period}  # slower parts are silent for longer
        self.kinds = {n: k._replace(**pace) for n, k in kinds_of(self.settings).items()}
        self.noise = random.Random(5)
        self.offset, self.right = offset, right
        """The wall clock: Unix ms minus the clock's ms, and whether it is known to be right."""
        self.full = False
        self.gone: set[str] = set()
        self.level = 0.0
        self.raised: Counter[str] = Counter()
        self.core: Core
        self.keeping: Keeping
        self.courier: Courier
        self.limits: Any = None
        self.start()
        self.open_courier()

    def _settings(self, folder: Path, database: str, phone: str) -> Settings:
        plain = load_settings(folder, dict.fromkeys(PARTS, "/dev/null"), "/dev/null")
        services = folder / "services"
        services.write_text(f"json://{phone}/?cto=20&rto=20\n")
        alarm = Alarm("bench.pm2_5", 50, 10, "mean", MINUTE, on_delay=0, coverage=0.3)
        return replace(
            plain,
            alarms={**plain.alarms, "print": alarm},
            database=Database(database, "air", push_every=MINUTE),
            phone=Phone(services),
        )

    def start(self) -> None:
        """Begin a keeper's life: restored from the store, as after a kill."""
        self.core = Core(self.settings, self.kinds, self.clock.now())
        writer = Writer(self.folder, BOOT, self.offset)
        for name, entry in self.settings.parts.items():
            writer.part(name, entry.model, entry.quantities)
        self.upkeep = Upkeep(self.settings.store)
        if self.limits:
            self.upkeep._limits = self.limits
        labels = Labels(lambda: self.offset, lambda: self.right)
        commit = writer.commit

        def committing() -> None:
            if self.full:
                raise OSError("No space left on device")
            commit()

        writer.commit = committing  # type: ignore[method-assign]
        self.keeping = Keeping(writer, self.clock, labels, 50_000, self._report, self.upkeep)
        self._reports: list[StoreReport] = []
        if (self.folder / "readings.sqlite").exists():
            reader = Reader(self.folder)
            before = restore(self.core, reader, BOOT)
            reader.close()
            body = {"change": "started", **before._asdict()}
            self._do([Record(self.core.now, "keeper", "keeper", body)])
        for part in self.core.parts:
            self.handle(Started(self.clock.now(), part))

    def restart(self) -> None:
        """Kill the keeper and start it anew."""
        self.keeping._commit()
        self.keeping._writer.close()
        self.start()

    def open_courier(self) -> None:
        """Begin a courier's life."""
        self.courier = Courier(
            self.settings,
            self.clock,
            {},
            boot=BOOT,
            keeper_status=self._status,
            wall=lambda: self.offset + self.clock.now(),
        )
        self.courier.chores._chores = []

    def _status(self) -> dict[str, Any]:
        store = {"failing": self.keeping.failing, "unstored": self.keeping.unstored}
        return {"store": store, "offset": self.offset, "clock is right": self.right}

    def _report(self, report: StoreReport) -> None:
        self._reports.append(report)

    def handle(self, event: Any) -> None:
        """Have the core take an event, and the store what comes of it."""
        self._do(self.core.handle(event))

    def _do(self, actions: list[Any]) -> None:
        for action in actions:
            if isinstance(action, Readings):
                self.keeping._readings.append(action)
                self.keeping._take(action)
            elif isinstance(action, Record):
                if action.body.get("change") == "raised":
                    self.raised[action.subject] += 1
                self.keeping._take(State("core", {"boot": BOOT, **self.core.save()}))
                self.keeping._take(action)
        self._tend()

    def _tend(self) -> None:
        due = self.keeping._due
        if due is not None and self.clock.now() >= due:
            self.keeping._commit()
            self.keeping._tend()
        while self._reports:
            self.handle(self._reports.pop(0))

    def _sample(self, name: str) -> Sample:
        base = self.noise.randint(4, 9) + self.level
        air = {"pm1": base, "pm2_5": base + self.noise.randint(0, 2), "pm10": base + 3}
        quantities = self.kinds[name].quantities
        return Sample(tuple(float(air.get(q, base * 10 + self.noise.random())) for q in quantities))

    def run(self, ms: int) -> None:
        """Let a time pass."""
        end = self.clock.now() + ms
        looks = self.clock.now()
        while self.clock.now() < end:
            self.clock.time += self.period
            for place, name in enumerate(PARTS):
                t = self.clock.now() + place
                gone = name in self.gone
                event = Trouble(t, name, "no answer") if gone else None
                self.handle(event or Measured(t, name, self._sample(name)))
            if self.clock.now() >= looks:
                looks = self.clock.now() + MINUTE
                self.courier_turn()

    def courier_turn(self) -> None:
        """Let each of the courier's loops take a turn."""
        guard: Callable[[Callable[[], int]], int] = self.courier._guarded
        guard(self.courier.look)
        assert self.courier.pusher
        assert self.courier.notifier
        if self.clock.now() >= getattr(self, "_push_due", 0):
            while not (wait := guard(self.courier.pusher.step)):
                pass
            self._push_due = self.clock.now() + wait
        guard(self.courier.notifier.step)

    def close(self) -> None:
        self.keeping._commit()
        self.keeping._writer.close()
        self.courier.close()


def down(server: Endpoint, is_down: bool) -> None:
    """Have a server refuse everything, or take all again; it remembers nothing it refused."""

    def refuse(_body: str) -> Reply:
        server.requests.clear()
        return Reply(503)

    server.judge = refuse if is_down else (lambda _body: None)
