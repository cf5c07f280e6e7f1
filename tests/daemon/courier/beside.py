"""A store that grows, a courier beside it on a fake clock, and the phone it tells."""

import json
from pathlib import Path
from typing import Any

from fakes import FakeClock
from receivers import Endpoint
from stored import OFFSET, database, phone, record, settings, writer
from ventwright.courier.main import Courier

MINUTE, HOUR = 60_000, 3_600_000
ALARM: dict[str, Any] = {
    "priority": "medium",
    "channel": "bench.pm2_5",
    "quantity": "pm2_5",
    "unit": "µg/m³",
    "compare": "rise",
    "over": MINUTE,
    "value": 23.1,
    "mean": 27.4,
    "baseline": 4.3,
    "rise": 23.1,
    "setpoint": 10.0,
    "peak": 48.0,
    "optical": True,
    "extractors": {"window-fan": "extracting"},
}


class Phone(Endpoint):
    """Keeps no points: what it gets are messages."""

    def keep(self, body: bytes) -> None:
        pass

    @property
    def titles(self) -> list[str]:
        return [json.loads(request.body)["title"] for request in self.requests]

    @property
    def bodies(self) -> list[str]:
        return [json.loads(request.body)["message"] for request in self.requests]


class World:
    """A store that grows, and a courier beside it that may be started anew."""

    def __init__(
        self, folder: Path, base: Endpoint | None, owner: Phone | None, patience_s: float = 20
    ) -> None:
        """Give the phone so long to answer, real time."""
        self.folder = folder
        self.clock = FakeClock(HOUR)
        self.pace = 1
        self.status: Any = {"store": {"failing": ""}}
        given: dict[str, Any] = {}
        if base:
            given["database"] = database(base.url)
        if owner:
            waits = f"?cto={patience_s}&rto={patience_s}"
            given["phone"] = phone(folder, f"json://127.0.0.1:{owner.port}/{waits}")
        self.settings = settings(folder, **given)
        self.store = writer(folder)
        self.courier = self.start()

    def start(self) -> Courier:
        self.courier = Courier(
            self.settings,
            self.clock,
            {},
            boot="boot-1",
            keeper_status=lambda: self.status,
            wall=lambda: OFFSET + self.clock.now(),
        )
        return self.courier

    def restart(self) -> None:
        self.courier.close()
        self.start()

    def happen(self, kind: str, subject: str, **body: Any) -> None:
        record(self.store, kind, subject, self.clock.now(), **body)

    def alarm(self, change: str, **body: Any) -> None:
        self.happen("alarm", "print", **{**ALARM, "since": self.clock.now(), **body}, change=change)

    def run(self, time: int) -> None:
        """Let the three loops take their turns for a time (ms)."""
        end = self.clock.now() + time
        steps = [self.courier.look]
        steps += [self.courier.pusher.step] if self.courier.pusher else []
        steps += [self.courier.notifier.step] if self.courier.notifier else []
        due = [self.clock.now()] * len(steps)
        while (now := min(due)) < end:
            self.clock.sleep_until(now)
            for place, step in enumerate(steps):
                if due[place] <= now:
                    due[place] = max(now + self.pace, self.clock.now() + step())
        self.clock.sleep_until(end)

    def close(self) -> None:
        self.store.close()
        self.courier.close()
