"""The real keeper with all its threads, on emulated parts and a clock that runs in step.

A seam of it can be made to fail: see `failing`.
"""

import queue
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

from failing import Failing
from fakes import Source, TwinPort, wiring
from house import events
from ventwright.control.server import Asked
from ventwright.keeper.process import Keeper
from ventwright.rehearsal.baton import LockstepClock
from ventwright.settings.model import (
    Alarm,
    Extractor,
    PartEntry,
    RelayEntry,
    Room,
    Settings,
    Storage,
)
from ventwright.storage.keeping import Labels
from ventwright.storage.reader import Reader
from ventwright_drivers import registry
from ventwright_drivers.emulated.bus import EmulatedBus
from ventwright_drivers.emulated.relay_modbus import ModbusTwin
from ventwright_drivers.emulated.sht import Sht3xTwin

SECOND = 1000
START = 1_000_000
OFFSET = 1_790_000_000_000
COUNTED = 10 * SECOND
"""In this time since the start every call gets its turn to fail."""
HEALED = COUNTED + 23 * SECOND
END = HEALED + 36 * SECOND
_NUMBERS = count(2_000_000)  # descriptors that no system gives


class Clock(LockstepClock):
    """Runs in step, and waits for emulated serial parts."""

    def __init__(self) -> None:
        super().__init__(START, lambda deadline: deadline)
        self._sources: dict[int, Source] = {}

    def watch(self, source: Source) -> int:
        number = next(_NUMBERS)
        self._sources[number] = source
        return number

    def wait_readable(self, fd: int, until: int) -> bool:
        source = self._sources[fd]
        while not self.stopped:
            if source.ready():
                return True
            if self.now() >= until:
                return False
            due = source.due()
            self.sleep_until(until if due is None else min(until, max(due, self.now() + 1)))
        return False


def nothing() -> None:
    """Stand for a seam that never fails."""


class Port(TwinPort):
    """A port whose calls may fail."""

    def __init__(self, clock: Any, twin: Any, read: Any = nothing, write: Any = nothing) -> None:
        super().__init__(clock, twin)
        self._before_read, self._before_write = read, write

    def read(self, size: int) -> bytes:
        self._before_read()
        return super().read(size)

    def write(self, data: bytes, /) -> int:
        self._before_write()
        return super().write(data)


class Bus:
    """A bus on which the calls to one address may fail."""

    def __init__(self, bus: EmulatedBus, seam: Callable[[], None]) -> None:
        self._bus, self._seam = bus, seam

    def i2c_rdwr(self, *messages: Any) -> None:
        if messages[0].addr == FAILING_ADDRESS:
            self._seam()
        self._bus.i2c_rdwr(*messages)

    def close(self) -> None:
        pass


FAILING_ADDRESS, OTHER_ADDRESS = 0x44, 0x45


def _entry(model: str, **options: Any) -> PartEntry:
    driver = registry.parts()[model]
    return PartEntry(model, registry.where(driver), driver.Options(**options), driver.quantities)


def _settings(folder: Path, bench: str) -> Settings:
    relay = registry.relays()["relay-modbus"]
    board = RelayEntry(
        "relay-modbus", registry.where(relay), relay.Options("/dev/relay"), "off", 2 * SECOND
    )
    parts = {
        "bench": _entry(bench, port="/dev/bench"),
        "door": _entry("pms5003", port="/dev/door"),
        "air": _entry("sht31", address=FAILING_ADDRESS),
        "shelf": _entry("sht31", address=OTHER_ADDRESS),
    }
    alarm = Alarm("door.pm2_5", 50, 10, "mean", 5 * SECOND, on_delay=0, coverage=0.1)
    return Settings(
        Room("r", 40),
        Storage(folder),
        parts,
        relays={"board": board},
        extractors={
            "hood": Extractor(
                "board", "off", minimum_off=0, quiet_hours="22:00-06:00", quiet_priority="low"
            )
        },
        alarms={"print": alarm},
    )


class House:
    """One life of a keeper, and what is left of it in the store."""

    def __init__(self, folder: Path, bench: str = "pms5003", **seams: Callable[[], None]) -> None:
        """Name the seams to fail: read, write, relay_read, relay_write, i2c, offset, right."""
        self.folder, self.seams = folder, seams
        self.clock = Clock()
        self.board = ModbusTwin()
        self._bus = EmulatedBus(self.clock.now)
        for address in (FAILING_ADDRESS, OTHER_ADDRESS):
            self._bus.plug(Sht3xTwin(self._air, address))
        self._twins: dict[str, Any] = {
            "/dev/bench": registry.twins()[bench](self._air),
            "/dev/door": registry.twins()["pms5003"](self._air),
            "/dev/relay": self.board,
        }
        wires = wiring(
            self.clock, open_port=self._port, open_bus=lambda _: Bus(self._bus, self._seam("i2c"))
        )
        labels = Labels(self._label("offset", OFFSET), self._label("right", True))
        self.keeper = Keeper(_settings(folder, bench), wires, "boot", labels)

    def _seam(self, name: str) -> Callable[[], None]:
        return self.seams.get(name, nothing)

    def _air(self, quantity: str) -> float:
        wave = self.clock.now() // 700 % 7
        return {"temperature": 20.0, "humidity": 40.0, "co2": 600.0}.get(quantity, 100.0) + wave

    def _port(self, path: str, *_: object) -> Port:
        seams = {"/dev/bench": ("read", "write"), "/dev/relay": ("relay_read", "relay_write")}
        names = seams.get(path, ("", ""))
        return Port(self.clock, self._twins[path], *map(self._seam, names))

    def _label(self, name: str, value: Any) -> Callable[[], Any]:
        def asked() -> Any:
            self._seam(name)()
            return value

        return asked

    def play(self, seam: Failing | None = None) -> None:
        """Live to the end; the seam is healed after a while."""
        self.keeper.start()
        self.clock.sleep_until(START + COUNTED)
        if seam:
            seam.stop_counting()
        self.clock.sleep_until(START + HEALED)
        assert self.status()["relays"]
        if seam:
            seam.heal()
        self.clock.sleep_until(START + END)
        assert not self.keeper.failed
        assert all(thread.is_alive() for thread in self.keeper._threads)
        self.contact = self.board.contacts[0]
        self.clock.stop()
        self.keeper.stop("the test is over")

    def status(self) -> dict[str, Any]:
        """Ask the keeper how it is, as `ventwright status` does."""
        asked = Asked("ada", "status", {}, queue.SimpleQueue())
        self.keeper._take(asked)
        return asked.reply.get_nowait()

    def changes(self, kind: str) -> list[tuple[int, str, str]]:
        """What was recorded of a kind: when since the start, of what, and the change."""
        found = events(self.folder, kind)
        return [(e.t - START, e.subject, e.body.get("change") or e.body["to"]) for e in found]

    def readings(self) -> dict[str, list[int]]:
        """When each part gave a reading, ms since the start."""
        times: dict[str, list[int]] = {}
        reader = Reader(self.folder)
        for stored in reader.all_blocks():
            times.setdefault(stored.part.name, []).extend(t - START for t in stored.open().times)
        reader.close()
        return times

    def settled(self) -> bool:
        """Tell whether the label of this life was found, and is right."""
        reader = Reader(self.folder)
        (boot,) = reader.boots().values()
        reader.close()
        return boot.settled and boot.offset == OFFSET
