"""Relays are made safe, of whatever kind: a dead one delays no other, a lost file costs none."""

import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import pytest

from drivers.test_every_driver import Wires, every_relay, options
from fakes import FakeClock, wiring
from house import House
from ventwright.keeper.safe import TRIES, make_safe
from ventwright.settings.model import RelayEntry, Room, Settings, Storage
from ventwright.wires import machine_wiring
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Relay
from ventwright_drivers.registry import where
from ventwright_drivers.relay.modbus import ModbusOptions

DRIVER = "ventwright_drivers.relay.modbus:ModbusRelay"
NOTHING = NoAnswer("nothing")


@dataclass(frozen=True)
class Options:
    port: str
    name: str
    fault: Exception | None = None


class Board:
    """A relay that either obeys at once, or never does."""

    done: ClassVar[list[str]] = []
    tried: ClassVar[list[str]] = []
    met: ClassVar[threading.Event] = threading.Event()

    def __init__(self, options: Options, _wiring: Any) -> None:
        self._name, self._fault = options.name, options.fault

    def __enter__(self) -> "Board":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def switch(self, on: bool) -> None:
        Board.tried.append(self._name)
        if self._fault:
            assert Board.met.wait(30), "the living relay had to wait for the dead one"
            raise self._fault
        Board.done.append(f"{self._name} {on}")
        Board.met.set()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    found = House(tmp_path)
    yield found
    found.close()


@pytest.fixture
def fresh(monkeypatch: pytest.MonkeyPatch) -> None:
    Board.done, Board.tried = [], []
    Board.met.clear()
    monkeypatch.setattr("ventwright.keeper.safe.load", lambda _driver: Board)


def settings(**relays: Options) -> Settings:
    entries = {
        name: RelayEntry("r", "x:y", options, "on", 1000) for name, options in relays.items()
    }
    return Settings(Room("r", 1), Storage(Path("/nowhere")), {}, entries)


@pytest.mark.usefixtures("fresh")
def test_a_dead_relay_delays_no_other() -> None:
    said: list[str] = []
    chosen = settings(a=Options("port 1", "a", NOTHING), b=Options("port 2", "b"))
    assert not make_safe(chosen, wiring(FakeClock()), said.append)
    assert Board.done == ["b True"]
    assert Board.tried.count("a") == TRIES
    assert "relay b is in its safe state: on" in said


@pytest.mark.usefixtures("fresh")
def test_relays_of_one_port_take_turns_and_all_are_tried() -> None:
    Board.met.set()
    chosen = settings(
        a=Options("port", "a", NOTHING), b=Options("port", "b"), c=Options("port", "c")
    )
    assert not make_safe(chosen, wiring(FakeClock()), lambda _line: None)
    assert Board.tried == ["a", "b", "c", *"aaaa"]
    assert Board.done == ["b True", "c True"]


@pytest.mark.usefixtures("fresh")
def test_a_bug_in_a_driver_costs_its_own_relay_only() -> None:
    Board.met.set()
    said: list[str] = []
    chosen = settings(a=Options("port", "a", KeyError("oops")), b=Options("port", "b"))
    assert not make_safe(chosen, wiring(FakeClock()), said.append)
    assert Board.done == ["b True"]
    assert said[0] == "relay a: try 1 of 5 failed: its driver failed: KeyError('oops')"


def test_no_relay_is_no_failure() -> None:
    assert make_safe(settings(), wiring(FakeClock()), print)


def test_a_real_relay_that_is_not_plugged_in_is_tried_and_told() -> None:
    said: list[str] = []
    options = ModbusOptions(port="/dev/not-there")
    relay = RelayEntry("relay-modbus", DRIVER, options, "off", 1000)
    chosen = Settings(Room("r", 1), Storage(Path("/nowhere")), {}, {"fan": relay})
    assert not make_safe(chosen, machine_wiring(FakeClock()), said.append)
    assert len(said) == TRIES
    assert "relay fan: try 1" in said[0]
    assert "/dev/not-there" in said[0]


@every_relay
@pytest.mark.parametrize("safe", ["on", "off"])
def test_a_contact_that_a_dead_keeper_left_gets_safe(driver: type[Relay], safe: str) -> None:
    wires = Wires(driver, keeps_level=True)
    with driver(options(driver), wires.wiring) as before:
        before.switch(safe != "on")
    board: Any = wires.twin or wires.chip
    assert any(board.contacts) is (safe != "on")
    wires.clock.sleep_until(wires.clock.now() + 1000)
    relay = RelayEntry(driver.model, where(driver), options(driver), safe, 1000)
    chosen = Settings(Room("r", 1), Storage(Path("/nowhere")), {}, {"fan": relay})
    assert make_safe(chosen, wires.wiring, print)
    assert any(board.contacts) is (safe == "on")
    assert wires.open == 0


def test_what_the_keeper_took_counts_while_the_file_is_being_edited(house: House) -> None:
    """As the unit has it: a copy of what was accepted, then the file itself."""
    house.keeper()
    house.hold(True)
    house.reaches(True)
    house.processes[0].kill()
    house.processes[0].wait()
    accepted = house.folder / "accepted.toml"
    shutil.copy(house.config, accepted)
    house.config.write_text("[relays")
    house.make_safe(accepted, house.config)
    assert not house.contact


def test_without_what_the_keeper_took_the_file_counts(house: House) -> None:
    house.keeper()
    house.hold(True)
    house.reaches(True)
    house.processes[0].kill()
    house.processes[0].wait()
    house.make_safe(house.folder / "never-accepted.toml", house.config)
    assert not house.contact
