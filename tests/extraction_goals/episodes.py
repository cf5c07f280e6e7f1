"""One episode: a room, a print and a fan by chance; the real core watches through a noisy part.

The room is the rehearsal's, so the truth is known. The fan may give half the flow that it was
commissioned with. What is commissioned is off by chance as a real decay fit would be.
"""

import math
import random
from dataclasses import dataclass, field
from typing import Any

from extraction_goals.sources import BEGINS, Shape, spells_of
from ventwright.events import Action, Measured, Record, Request, Started
from ventwright.keeper.core import Core
from ventwright.quality.judge import PartKind
from ventwright.rehearsal.emission import rates_at
from ventwright.rehearsal.room import Room
from ventwright.rehearsal.scenario import workshop_air
from ventwright.rehearsal.sensing import Sense, Senses
from ventwright.settings.model import (
    MINUTE,
    Alarm,
    Extractor,
    PartEntry,
    RelayEntry,
    Settings,
    Storage,
)
from ventwright.settings.model import Room as RoomEntry

QUANTITIES = ("pm1", "pm2_5", "pm10")
KIND = PartKind("pms5003", QUANTITIES, 1000, 10_000, 0, optical=True)
CHANNEL = "bench.pm2_5"
DUST = ("fine", "middle")
_ERROR = 0.05
"""Standard error of what is commissioned, as a share: that of a good decay fit (ours)."""


@dataclass
class Episode:
    """What happened in truth, and what was told; times in ms, rates in 1/h, masses in µg."""

    seed: int
    shape: Shape
    flow: float
    records: list[Record] = field(default_factory=list)
    begins: int = 0
    ends: int = 0
    mass: float = 0.0
    natural: float = 0.0
    added: float = 0.0
    on: list[tuple[int, bool]] = field(default_factory=list)
    shown: list[tuple[int, float]] = field(default_factory=list)
    """Level above that of clean air in truth, every 20 s while the fan runs."""
    changes: list[int] = field(default_factory=list)
    """When the source changed."""
    cleared: int | None = None
    """When the alarm was cleared for the last time."""
    forecasts: list[tuple[int, dict[str, Any]]] = field(default_factory=list)
    """What was told of recovery each minute once nothing emitted any more."""

    def of(self, kind: str, change: str) -> list[Record]:
        """Give the records of a kind with a change."""
        return [r for r in self.records if r.kind == kind and r.body.get("change") == change]

    @property
    def started(self) -> int | None:
        """When the fan was first switched on, ms."""
        return next((t for t, on in self.on if on), None)


def house(volume: float) -> Settings:
    """Give the rehearsal's rules for a room of `volume` m³."""
    alarm = Alarm(CHANNEL, setpoint=20.0, deadband=8.0, over=MINUTE, on_delay=30_000)
    return Settings(
        RoomEntry("workshop", volume),
        Storage("/nowhere"),  # type: ignore[arg-type]
        {"bench": PartEntry("pms5003", "", None, QUANTITIES)},
        {"fan-relay": RelayEntry("relay-modbus", "", None, "off", 10_000)},
        {"fan": Extractor("fan-relay", "on")},
        {"print-fumes": alarm},
    )


class Life:
    """A core and a room that live second by second."""

    def __init__(self, episode: Episode) -> None:
        self.episode = episode
        chance = random.Random(f"{episode.seed} {episode.shape}")
        volume = chance.uniform(25.0, 60.0)
        leakage, added = chance.uniform(0.3, 0.8), chance.uniform(3.0, 8.0)
        self.room = Room(volume, leakage, workshop_air())
        self.spells = spells_of(episode.shape, chance)
        self.room.levels.update({name: self._balance(name) for name in (*DUST, "coarse")})
        self._clean = sum(self.room.levels[name] for name in DUST)
        sense = Sense(8.0, 1.0, 0.03, 0.3)
        self.senses = Senses("bench", episode.seed, dict.fromkeys((*DUST, "coarse"), sense))
        self.exhaust = added * volume
        off = chance.choice([0.9, 1.1]) if episode.shape == "volume" else 1.0
        self.core = Core(house(off * volume), {"bench": KIND}, 0)
        self._door = _door(episode.shape, chance)
        episode.natural, episode.added = leakage + 0.414, added
        self._lived = [spell for spell in self.spells if spell.rates]
        episode.begins = min(1000 * spell.begins for spell in self._lived)
        episode.ends = max(1000 * spell.ends for spell in self._lived)
        episode.changes = sorted(
            {1000 * at for one in self.spells for at in (one.begins, one.ends)}
        )
        self.commissioned = self._commissioned(chance)
        self.take(self.core.handle(Started(0, "bench")))
        self.take(self.core.handle(Request(1, "ada", "commissioned", self.commissioned)))

    def _balance(self, name: str) -> float:
        return self.room.gain(name) / self.room.loss_rate(name)

    def _commissioned(self, chance: random.Random) -> dict[str, Any]:
        episode = self.episode
        natural = episode.natural * math.exp(chance.gauss(0.0, _ERROR))
        clearance = natural + episode.added * math.exp(chance.gauss(0.0, _ERROR))
        return {
            "name": "fan",
            "channel": CHANNEL,
            "volume": self.room.volume,
            "natural": natural,
            "natural_error": _ERROR * natural,
            "clearance": clearance,
            "clearance_error": _ERROR * clearance,
            "points": 100,
            "method": "decay",
        }

    def take(self, actions: list[Action]) -> None:
        """Keep what was recorded."""
        self.episode.records += [a for a in actions if isinstance(a, Record)]

    @property
    def fan(self) -> bool:
        return self.core.extractors["fan"].on

    def second(self, n: int) -> None:
        """Let a second pass."""
        room, before = self.room, self.fan
        room.sources = rates_at(self.spells, n)
        room.exhaust = self.exhaust * self.episode.flow if before else 0.0
        self._open(n)
        room.advance(1)
        self.episode.mass += sum(room.sources.get(name, 0.0) for name in DUST) / 3600
        self.senses.follow(room.levels, 1)
        values = tuple(float(round(self.senses(q))) for q in QUANTITIES)
        t = 1000 * (n + 1)
        self.take(self.core.handle(Measured(t, "bench", _sample(values))))
        if before and n % 20 == 0:
            level = sum(room.levels[name] for name in DUST) - self._clean
            self.episode.shown.append((t, level))
        if self.fan != before:
            self.episode.on.append((t, self.fan))
        if n % 60 == 0:
            self._ask(t)

    def _open(self, n: int) -> None:
        begins, ends, more = self._door
        if n == begins:
            self.room.leakage += more
        elif n == ends:
            self.room.leakage -= more

    def _ask(self, t: int) -> None:
        clear = self.core.sources.clear(CHANNEL)
        if clear and not clear["emits"]:
            self.episode.forecasts.append((t, clear))


def _door(shape: Shape, chance: random.Random) -> tuple[int, int, float]:
    """Tell when a door is opened and closed, s, and how much more air it lets through, 1/h."""
    if shape != "door":
        return -1, -1, 0.0
    opened = BEGINS + round(chance.uniform(0, 1500))
    return opened, opened + round(chance.uniform(60, 1200)), chance.uniform(0.5, 4.0)


def _sample(values: tuple[float, ...]) -> Any:
    from ventwright_drivers.part import Sample

    return Sample(values)


def live(seed: int, shape: Shape, flow: float = 1.0, longest: int = 14_400) -> Episode:
    """Live an episode through to half an hour after the fan has stopped."""
    episode = Episode(seed, shape, flow)
    life = Life(episode)
    stopped = None
    for n in range(longest):
        life.second(n)
        quiet = 1000 * n > episode.ends and not life.fan
        stopped = None if not quiet else stopped or n
        if stopped and n - stopped > 600:
            break
    cleared = episode.of("alarm", "cleared")
    episode.cleared = cleared[-1].t if cleared else None
    return episode
