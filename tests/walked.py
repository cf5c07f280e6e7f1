"""A simulated room with the real core, store and requests, in which a walk takes place in no time.

Truth is known: one kind of dust (or CO2), a leak, an exhaust. A person does what the walk asks for.
"""

import random
from collections.abc import Callable, Sequence
from math import expm1
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

from rooms import alarm, extractor, relay
from stored import owned
from ventwright.commissioning.levels import Levels, stored
from ventwright.commissioning.walk import Plan
from ventwright.events import Measured, Readings, Record, Request, Started, Switch
from ventwright.keeper.core import Core
from ventwright.keeper.requests import answer
from ventwright.keeper.status import status
from ventwright.quality.judge import PartKind
from ventwright.rehearsal.room import Pollutant, Room
from ventwright.settings.model import PartEntry, Settings, Storage
from ventwright.settings.model import Room as RoomEntry
from ventwright.storage.writer import Writer
from ventwright_drivers.part import Sample
from ventwright_drivers.quantities import QUANTITIES

OFFSET = 1_790_000_000_000
PERIOD_S = 5


class Truth(NamedTuple):
    """What the room is."""

    volume: float = 45
    leak: float = 0.5
    settling: float = 0.4
    outdoor: float = 8
    exhaust: float = 200
    emission: float = 60_000
    """What the person lets emit, amount/h, for five minutes."""
    noise: tuple[float, float] = (0.03, 0.3)
    """Share of the level, and floor."""
    lag_s: float = 8
    quantity: str = "pm2_5"

    @property
    def natural(self) -> float:
        return self.leak + self.settling

    @property
    def clearance(self) -> float:
        return self.natural + self.exhaust / self.volume


DUST = Truth()
TRACER = Truth(settling=0, outdoor=425, emission=1e6, noise=(0.002, 3), lag_s=40, quantity="co2")
"""CO2 in ppm; emission in ppm m³/h."""


class Simulated:
    """A Place whose time passes only when somebody waits."""

    def __init__(self, folder: Path, seed: int, truth: Truth = DUST, parts: int = 1) -> None:
        names = ["bench", "shelf"][:parts]
        model = "scd41" if truth.quantity == "co2" else "pms5003"
        entries = {name: PartEntry(model, "", None, (truth.quantity,)) for name in names}
        self.truth, self.channel = truth, f"bench.{truth.quantity}"
        limit = 2500 if truth.quantity == "co2" else 20
        self.settings = Settings(
            RoomEntry("r", truth.volume),
            Storage(folder),
            entries,
            relays={"board": relay()},
            extractors={"hood": extractor()},
            alarms={"print": alarm(self.channel, setpoint=limit)},
        )
        kind = PartKind(model, (truth.quantity,), 1000 * PERIOD_S, 10_000, 5000, optical=True)
        self.core = Core(self.settings, dict.fromkeys(names, kind), 0)
        dust = Pollutant("x", 0, truth.outdoor, 1, truth.settling)
        self.room = Room(truth.volume, truth.leak, [dust])
        self.room.levels["x"] = truth.leak * truth.outdoor / truth.natural
        self.dice = random.Random(f"{seed}")
        self.writer: Writer = owned(Writer(folder, "boot-1", OFFSET))
        self.writer.settle(OFFSET)
        for name in names:
            self.writer.part(name, model, (truth.quantity,))
        self.seconds = 0
        self.said: list[str] = []
        self.seen = dict.fromkeys(names, self.room.levels["x"])
        self.unlike: dict[str, float] = {}
        """What a part shows more than it should, a share, by name: air that is not mixed."""
        self.each_second: Callable[[int], None] = lambda second: None
        for name in names:
            self.core.handle(Started(0, name))
        self.wait(120)

    def wait(self, seconds: float) -> None:
        for _ in range(round(seconds)):
            self.seconds += 1
            self.each_second(self.seconds)
            self.room.advance(1)
            if self.seconds % PERIOD_S == 0:
                self._measure()
        self.writer.commit()

    def _measure(self) -> None:
        share, floor = self.truth.noise
        for name, seen in self.seen.items():
            level = self.room.levels["x"] * (1 + self.unlike.get(name, 0.0))
            self.seen[name] = seen + (level - seen) * -expm1(-PERIOD_S / self.truth.lag_s)
            noise = self.dice.gauss(0, share * self.seen[name] + floor)
            shown = float(round(max(0.0, self.seen[name] + noise)))
            self._do(self.core.handle(Measured(1000 * self.seconds, name, Sample((shown,)))))

    def _do(self, actions: Sequence[Any]) -> None:
        for action in actions:
            if isinstance(action, Switch):
                self.room.exhaust = self.truth.exhaust if action.on else 0.0
            elif isinstance(action, Readings | Record):
                self.writer.add(action)

    def ask(self, verb: str, **words: Any) -> dict[str, Any]:
        if verb == "status":
            keeping: Any = SimpleNamespace(failing="", last_commit=None, unstored=0)
            return status(self.core, keeping, OFFSET, True)
        request = Request(1000 * self.seconds, "maker", verb, words)
        said = answer(self.core, request)
        self._do(self.core.advance(1000 * self.seconds))
        return said

    def levels(self, channels: Sequence[str], begins: int, ends: int) -> dict[str, Levels]:
        return stored(self.settings.store.folder, self.settings, channels, begins, ends)

    def say(self, text: str) -> None:
        self.said.append(text)

    def confirm(self, text: str, meanwhile: Callable[[], None]) -> None:
        self.said.append(text)
        self.room.sources["x"] = self.truth.emission
        for _ in range(5):
            self.wait(60)
            meanwhile()
        self.room.sources["x"] = 0.0

    def plan(self, **changes: Any) -> Plan:
        co2 = self.truth.quantity == "co2"
        beside = [f"{n}.{self.truth.quantity}" for n in self.seen if n != "bench"]
        unit = QUANTITIES[self.truth.quantity].unit
        least, ceiling, settle = (400, 3000, 180_000) if co2 else (30, 250, 60_000)
        times = (settle, 600_000, 5_400_000)
        plan = Plan(self.channel, unit, beside, ["hood"], least, ceiling, *times)
        return plan._replace(**changes)
