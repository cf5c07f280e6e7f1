"""The world of a rehearsal: the room, the parts in it, and time. One thread, no clock of its own.

The room advances second by second; parts see it through their senses; the contact of the relay
switches the extractor's air. A second room without an extractor runs beside it, to compare.
"""

import random
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from ventwright.rehearsal.emission import Spell, label_at, rates_at
from ventwright.rehearsal.ports import Port
from ventwright.rehearsal.room import Room
from ventwright.rehearsal.scenario import Fault, Scenario
from ventwright.rehearsal.sensing import MADE_OF, Senses
from ventwright_drivers import registry
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.gpio_chip import EmulatedChip
from ventwright_drivers.emulated.twin import I2CTwin

START_MS = 60_000
"""What the clock shows when a rehearsal begins: a minute after a boot."""

BUS = 1
CHIP, LINE = "/dev/gpiochip0", 17
_FIRST = 0
_SECOND_MS = 1000


class Moment(NamedTuple):
    """The true state of the world at the end of a second, for who watches."""

    second: int
    label: str
    extracting: bool
    with_extraction: float
    """PM2.5 in the room, µg/m³."""
    without: float
    """PM2.5 had there been no extractor, µg/m³."""


Watch = Callable[[Moment], None]


def _nobody(_: Moment) -> None:
    """Watch nothing."""


def pm2_5(levels: Mapping[str, float]) -> float:
    """Add up PM2.5, µg/m³, from the bands of a room."""
    return sum(factor * levels[band] for band, factor in MADE_OF["pm2_5"].items())


class World:
    """A scenario brought to life; drive it by `idle` and `go_on`."""

    def __init__(self, scenario: Scenario, seed: int, folder: Path, watch: Watch = _nobody) -> None:
        """Build room and parts; the terminals get stable paths in `folder`. Raises OSError."""
        self.scenario = scenario
        self.now = START_MS
        self.extra: list[Spell] = []
        """What emits beside the scenario, as a visitor has it."""
        self.ends = scenario.duration
        """Whole seconds after which it is over; a visitor may end it earlier."""
        self.seconds = 0
        """Whole seconds played."""
        self._seed = seed
        self._folder = folder
        self._watch = watch
        rooms = (scenario.volume, scenario.leakage, scenario.pollutants)
        self.room, self.still_room = Room(*rooms), Room(*rooms)
        self.chip = EmulatedChip(lambda: self.now, CHIP)
        self.bus = EmulatedBus(lambda: self.now)
        self.ports: dict[str, Port] = {}
        self._on_bus: dict[str, I2CTwin] = {}
        self._senses: list[Senses] = []
        self._place()

    def _place(self) -> None:
        twins = registry.twins()
        for part in self.scenario.parts:
            senses = Senses(part.name, self._seed, part.senses)
            senses.follow(self.room.levels, 1)
            self._senses.append(senses)
            twin = twins[part.model](senses)
            if part.wire == "serial":
                self._plug(part.name, twin)
            else:
                self._on_bus[part.name] = twin
                self.bus.plug(twin)
        self._place_relay(twins)

    def _place_relay(self, twins: Mapping[str, Any]) -> None:
        self.board: Any = self.chip
        self._contact = LINE
        if self.scenario.relay_model in twins:
            self.board, self._contact = twins[self.scenario.relay_model](), _FIRST
            self._plug(self.scenario.relay, self.board)

    def _plug(self, name: str, twin: Any) -> None:
        noise = random.Random(f"{self._seed} {name} garbage")  # noqa: S311 - noise, no secret
        self.ports[name] = Port(twin, self._folder / name, noise)

    @property
    def over(self) -> bool:
        """True once the scenario has been played."""
        return self.seconds >= self.ends

    @property
    def extracting(self) -> bool:
        """Whether the contact of the extractor's relay is closed."""
        return bool(self.board.contacts[self._contact])

    def begin(self) -> None:
        """Take note that a keeper has connected."""
        for port in self.ports.values():
            port.begin()

    def idle(self, deadline: int | None, sent: Mapping[str, int]) -> int | None:
        """Go on to the next thing that happens, at most to `deadline`; None once all is over.

        `sent`: bytes that the keeper wrote to each path since `begin`; all are heard first.
        """
        self.hear(sent)
        self.go_on(self._next(deadline))
        if self.over:
            return None
        for port in self.ports.values():
            if (due := port.due()) is not None and due <= self.now:
                port.serve(self.now)
        return self.now

    def hear(self, sent: Mapping[str, int]) -> None:
        """Let every part hear what was written to it."""
        for port in self.ports.values():
            port.collect(sent.get(port.path, 0), self.now)

    def _next(self, deadline: int | None) -> int:
        dues = (port.due() for port in self.ports.values())
        times = [due for due in dues if due is not None]
        times.append(self._second_ends())
        if deadline is not None:
            times.append(deadline)
        return max(self.now, min(times))

    def _second_ends(self) -> int:
        return START_MS + (self.seconds + 1) * _SECOND_MS

    def go_on(self, until: int) -> None:
        """Let the time `until` (ms) come, room and faults included."""
        while self._second_ends() <= until:
            self.now = self._second_ends()
            self._play_second()
        self.now = max(self.now, until)

    def _play_second(self) -> None:
        second = self.seconds
        sources = rates_at((*self.scenario.spells, *self.extra), second)
        self.room.exhaust = self.scenario.exhaust if self.extracting else 0.0
        for room in (self.room, self.still_room):
            room.sources = sources
            room.advance(1)
        for senses in self._senses:
            senses.follow(self.room.levels, 1)
        self.seconds += 1
        for fault in self.scenario.faults:
            if fault.at == self.seconds:
                self._break(fault)
        self._watch(self._moment(second))

    def _moment(self, second: int) -> Moment:
        return Moment(
            self.seconds,
            label_at((*self.scenario.spells, *self.extra), second),
            self.extracting,
            pm2_5(self.room.levels),
            pm2_5(self.still_room.levels),
        )

    def _break(self, fault: Fault) -> None:
        if fault.device in self.ports:
            self.ports[fault.device].act(fault.action)
        elif fault.action in ("hang up", "mute"):
            self.bus.unplug(self._on_bus[fault.device].address)
        elif fault.action in ("plug in", "unmute"):
            self.bus.plug(self._on_bus[fault.device])
        elif fault.action == "garble":
            address = self._on_bus[fault.device].address
            self.bus.garble(lambda data: bytes(len(data)), address)
        else:
            self.bus.heal()

    def close(self) -> None:
        """Unplug everything."""
        for port in self.ports.values():
            port.close()
