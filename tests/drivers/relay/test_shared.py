"""Relays of one serial port: one descriptor, one lock, and each gets its own answers."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fakes import FakeClock, TwinPort, wiring
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.relay_a0 import A0Twin
from ventwright_drivers.emulated.relay_modbus import ModbusTwin
from ventwright_drivers.errors import BadOption, DeviceLost, NoAnswer
from ventwright_drivers.part import Relay, Wiring
from ventwright_drivers.relay import a0, modbus, shared
from ventwright_drivers.relay.a0 import A0Options, A0Relay
from ventwright_drivers.relay.modbus import ModbusOptions, ModbusRelay
from ventwright_drivers.serial.link import open_serial


@pytest.fixture(autouse=True)
def _nothing_is_left_open() -> Iterator[None]:
    yield
    assert shared._open == {}


@pytest.fixture
def real(monkeypatch: pytest.MonkeyPatch) -> Iterator[Wiring]:
    """Wire to real terminals, with patience enough for any machine."""
    for driver in (a0, modbus):
        monkeypatch.setattr(driver, "_REPLY_MS", 60_000)
    clock = SystemClock()
    yield wiring(clock, open_port=open_serial)
    clock.stop()


def coil(number: int, path: Path, wires: Wiring, **options: Any) -> ModbusRelay:
    return ModbusRelay(ModbusOptions(str(path), coil=number, **options), wires)


def contact(number: int, path: Path, wires: Wiring) -> A0Relay:
    return A0Relay(A0Options(str(path), number, answers=True), wires)


def together(*runs: Callable[[], None]) -> None:
    failed: list[BaseException] = []

    def run(work: Callable[[], None]) -> None:
        try:
            work()
        except BaseException as error:  # noqa: BLE001 - told below
            failed.append(error)

    threads = [threading.Thread(target=run, args=(work,)) for work in runs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []


def toggle(relay: Relay, times: int) -> None:
    for n in range(times):
        relay.switch(n % 2 == 0)
        assert relay.state() is (n % 2 == 0)


def test_two_hands_on_one_modbus_board_over_a_real_terminal(tmp_path: Path, real: Wiring) -> None:
    path, twin = tmp_path / "board", ModbusTwin()
    with PtyHost(twin, path) as host:
        host.start(real.clock)
        with coil(1, path, real) as first, coil(2, path, real) as second:
            together(lambda: toggle(first, 8), lambda: toggle(second, 8))
    for number in (1, 2):
        assert [on for _, n, on in twin.history if n == number] == [True, False] * 4


def test_two_contacts_of_one_a0_board_over_a_real_terminal(tmp_path: Path, real: Wiring) -> None:
    path, twin = tmp_path / "board", A0Twin(answers=True)
    with PtyHost(twin, path) as host:
        host.start(real.clock)
        with contact(1, path, real) as first, contact(2, path, real) as second:
            together(lambda: first.switch(True), lambda: second.switch(True))
    assert twin.contacts[:2] == [True, True]


def test_a_second_program_still_finds_the_port_in_use(tmp_path: Path, real: Wiring) -> None:
    path = tmp_path / "board"
    other = wiring(real.clock, open_port=open_serial)
    with PtyHost(ModbusTwin(), path), coil(1, path, real), pytest.raises(DeviceLost):
        coil(2, path, other).start()


def test_unplugged_both_are_lost_and_both_come_back(tmp_path: Path, real: Wiring) -> None:
    path, twin = tmp_path / "board", ModbusTwin()
    with PtyHost(twin, path) as host, coil(1, path, real) as one, coil(2, path, real) as two:
        host.start(real.clock)
        toggle(one, 1)
        host.hang_up()
        for relay in (one, two):
            with pytest.raises(DeviceLost):
                relay.switch(True)
        host.plug_in()
        with pytest.raises(DeviceLost):  # who does not start again keeps the dead port
            two.switch(True)
        one.start()
        toggle(one, 2)
        two.start()
        toggle(two, 2)


class Board:
    """Emulated wiring to one board on a fake clock, which counts open ports."""

    def __init__(self, twin: Any) -> None:
        self.clock = FakeClock()
        self.ports: list[TwinPort] = []
        self.twin = twin
        self.wiring = wiring(self.clock, open_port=self._port)

    def _port(self, *_: Any) -> TwinPort:
        self.ports.append(TwinPort(self.clock, self.twin))
        return self.ports[-1]


def test_the_pause_between_frames_is_the_boards_not_the_relays() -> None:
    board = Board(A0Twin(answers=True))
    path = Path("/dev/board")
    with contact(1, path, board.wiring) as first, contact(2, path, board.wiring) as second:
        first.switch(True)
        second.switch(True)
        first.switch(False)
    assert board.twin.contacts[:2] == [False, True]
    assert len(board.ports) == 1


def test_the_last_one_closes_the_port() -> None:
    board = Board(A0Twin())
    first, second = (contact(n, Path("/dev/board"), board.wiring) for n in (1, 2))
    first.start()
    second.start()
    first.close()
    assert not board.ports[0].closed
    second.close()
    assert board.ports[0].closed


def test_no_answer_costs_the_other_relay_nothing() -> None:
    board = Board(ModbusTwin(coils=1))
    path = Path("/dev/board")
    with coil(1, path, board.wiring) as good, coil(1, path, board.wiring, address=9) as absent:
        with pytest.raises(NoAnswer):
            absent.switch(True)
        toggle(good, 2)
        absent.close()
        toggle(good, 2)


def test_one_port_has_one_setup() -> None:
    board = Board(ModbusTwin())
    path = Path("/dev/board")
    with (
        coil(1, path, board.wiring),
        pytest.raises(BadOption, match=r"is open at .*9600.* is asked for"),
    ):
        coil(2, path, board.wiring, baud=19_200).start()


def test_two_names_of_one_port_are_one_port(tmp_path: Path) -> None:
    (tmp_path / "real").touch()
    (tmp_path / "name").symlink_to(tmp_path / "real")
    board = Board(A0Twin())
    with (
        contact(1, tmp_path / "real", board.wiring),
        contact(2, tmp_path / "name", board.wiring),
    ):
        assert len(board.ports) == 1
