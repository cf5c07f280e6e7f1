"""Relays are made safe at the same time: a dead one delays no other."""

import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import pytest

from fakes import FakeClock, wiring
from ventwright.keeper.safe import TRIES, make_safe
from ventwright.settings.model import RelayEntry, Room, Settings, Storage
from ventwright.wires import machine_wiring
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.relay.modbus import ModbusOptions

DRIVER = "ventwright_drivers.relay.modbus:ModbusRelay"


@dataclass(frozen=True)
class Options:
    port: str
    dead: bool = False


class Board:
    """A relay that either obeys at once, or never answers."""

    done: ClassVar[list[str]] = []
    tried: ClassVar[list[str]] = []
    met: ClassVar[threading.Event] = threading.Event()

    def __init__(self, options: Options, _wiring: Any) -> None:
        self.place, self._dead = options.port, options.dead

    def __enter__(self) -> "Board":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def switch(self, on: bool) -> None:
        Board.tried.append(self.place)
        if self._dead:
            assert Board.met.wait(30), "the living relay had to wait for the dead one"
            raise NoAnswer("nothing")
        Board.done.append(f"{self.place} {on}")
        Board.met.set()


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
    chosen = settings(a=Options("port 1", dead=True), b=Options("port 2"))
    assert not make_safe(chosen, wiring(FakeClock()), said.append)
    assert Board.done == ["port 2 True"]
    assert Board.tried.count("port 1") == TRIES
    assert "relay b is in its safe state: on" in said


@pytest.mark.usefixtures("fresh")
def test_relays_of_one_port_take_turns_and_all_are_tried() -> None:
    Board.met.set()
    chosen = settings(a=Options("port", dead=True), b=Options("port"), c=Options("port"))
    assert not make_safe(chosen, wiring(FakeClock()), lambda _line: None)
    assert Board.tried == ["port"] * (TRIES + 2)
    assert Board.done == ["port True"] * 2


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
