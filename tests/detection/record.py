"""Lets a room, its part and the real core live together, the fan included, and keeps all of it."""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from detection.rooms import PENETRATION, Room
from ventwright.events import Action, Measured, Record, Started, Switch
from ventwright.keeper.core import Core
from ventwright.quality.judge import PartKind
from ventwright.settings.load import load
from ventwright.settings.model import Settings
from ventwright.settings.shipped import shipped
from ventwright_drivers.part import Sample

Array = NDArray[np.float64]
Pair = tuple[float, float]
PART = "bench"


class Change(NamedTuple):
    """An alarm was raised or cleared at a time, s."""

    alarm: str
    t: float
    change: str
    value: float


class Played(NamedTuple):
    """What happened: readings, what they would be without noise, and decisions; µg/m³."""

    readings: Array
    expected: Array
    """What the part would show without noise and without the newest print."""
    level: Array
    """The true level."""
    bare: Array
    """The true level without prints, open doors and other sources."""
    quiet: Array
    """What the part would show without noise and without any print."""
    base: Array
    """The baseline as the core knew it (NaN: not yet)."""
    sigma: Array
    """Its standard uncertainty as the core knew it."""
    changes: list[Change]
    fan: list[tuple[float, bool]]
    """When the fan was switched, s, and to what."""


def shipped_settings() -> Settings:
    """Load the shipped example, with the one quantity that its alarms look at."""
    environ = {"VENTWRIGHT_PARTS__BENCH__QUANTITIES": '["pm2_5"]'}
    return load(Path(str(shipped("example.toml"))), environ)


def core_of(settings: Settings, room: Room) -> Core:
    """Make the core of a room whose part gives PM2.5 and, to be alive, a count."""
    period = round(room.part.period_s * 1000)
    kind = PartKind(room.part.model, ("pm2_5", "n0_3"), period, 10_000, 30_000, optical=True)
    still = PartKind("sht40", ("temperature", "humidity"), 2000, 1 << 60, 1000, optical=False)
    return Core(settings, {name: kind if name == PART else still for name in settings.parts}, 0)


def play(room: Room, settings: Settings, works: bool = True) -> Played:
    """Play a room through the core; `works`: the fan moves air, else it is only recorded."""
    core = core_of(settings, room)
    return _Stage(room, core, works).play()


class _Air:
    """Parts of one well-mixed room's level, each of which comes and goes for itself."""

    def __init__(self, room: Room) -> None:
        part = room.part
        self.hours = part.period_s / 3600
        self.catch = -math.expm1(-part.period_s / part.lag_s)
        self.bare = PENETRATION * float(room.around.outdoor[0]) * room.leakage / room.loss
        self.foreign = self.before = self.now = 0.0
        """What doors and sources, earlier prints and the newest print add."""
        self.seen = [self.bare * part.bias, 0.0, 0.0]

    def pass_on(self, air: float, door: float, lost: float, outdoor: float, gains: Pair) -> None:
        """Let a reading's time pass: air change, door exchange and loss in 1/h."""
        kept = math.exp(-(air + door + lost) * self.hours)
        share = (1 - kept) / (air + door + lost)
        alone = math.exp(-(air + lost) * self.hours)
        total = (self.bare + self.foreign) * kept
        total += ((PENETRATION * air + door) * outdoor + gains[0]) * share
        self.bare = self.bare * alone + PENETRATION * air * outdoor * (1 - alone) / (air + lost)
        self.foreign = total - self.bare
        self.before *= kept
        self.now = self.now * kept + gains[1] * share

    def look(self, factor: float) -> tuple[float, float, float]:
        """Give what a slow part that reads high by a factor sees: quiet, earlier, newest print."""
        seen, catch = self.seen, self.catch
        for n, level in enumerate((self.bare + self.foreign, self.before, self.now)):
            seen[n] += (level * factor - seen[n]) * catch
        return seen[0], seen[1], seen[2]

    def new_print(self) -> None:
        """Call what the prints so far have left behind earlier."""
        self.before, self.now = self.before + self.now, 0.0
        self.seen[1], self.seen[2] = self.seen[1] + self.seen[2], 0.0


class _Stage:
    """One playing of a room."""

    def __init__(self, room: Room, core: Core, works: bool) -> None:
        self.room, self.core, self.works = room, core, works
        self.fan_on = False
        self.changes: list[Change] = []
        self.fan: list[tuple[float, bool]] = []

    def play(self) -> Played:
        room, core, air = self.room, self.core, _Air(self.room)
        channel, part = core.channels[f"{PART}.pm2_5"], room.part
        out: Array = np.full((7, len(room.t)), np.nan)
        begins = {int(np.searchsorted(room.t, one.begins)) for one in room.prints}
        core.handle(Started(0, PART))
        for n, row in enumerate(self._rows()):
            outdoor, door, source, damp, emitted, wander, dice = row
            if n in begins:
                air.new_print()
            change = room.leakage + (room.fan_ach if self.fan_on and self.works else 0.0)
            air.pass_on(change, door, room.deposition, outdoor, (source, emitted))
            quiet, before, now = air.look(damp * part.bias)
            seen = quiet + before + now
            raw = max(0.0, seen + wander + math.hypot(part.floor, part.share * seen) * dice)
            reading = round(raw / part.resolution) * part.resolution
            sample = Sample((reading, 1 + abs(dice)))  # the count shows that the part is alive
            self._do(core.handle(Measured(round((n + 1) * part.period_s * 1000), PART, sample)))
            level = air.bare + air.foreign + air.before + air.now
            out[:5, n] = reading, quiet + before + wander, level, air.bare, quiet + wander
            if channel.base is not None:
                out[5:, n] = channel.base, channel.base_sigma
        readings, expected, level, bare, quiet, base, sigma = out
        return Played(readings, expected, level, bare, quiet, base, sigma, self.changes, self.fan)

    def _rows(self) -> Iterator[tuple[float, ...]]:
        room = self.room
        around = (room.around.outdoor, room.around.doors, room.around.sources, room.around.damp)
        columns = (*around, room.emitted, room.wander, room.dice)
        return zip(*(column.tolist() for column in columns), strict=True)

    def _do(self, actions: list[Action]) -> None:
        for action in actions:
            if isinstance(action, Switch):
                self.fan_on = action.on
                self.fan.append((action.t / 1000, action.on))
            elif isinstance(action, Record) and action.kind == "alarm":
                body = action.body
                change = Change(action.subject, action.t / 1000, body["change"], body["value"])
                self.changes.append(change)
