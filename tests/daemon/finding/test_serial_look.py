"""Looking at a serial port with every kind of part and board at it."""

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from daemon.finding.benches import AIR, SPEEDS, Desk, Echo, Silence, holding, host_wiring, quiet
from fakes import FakeClock, nothing, wiring
from ventwright.finding import found as found_module
from ventwright.finding.found import Found
from ventwright.finding.serial_look import LISTEN_MS, look_at_port
from ventwright_drivers import registry
from ventwright_drivers.emulated.hpma import Hpma115C0Twin
from ventwright_drivers.emulated.nine_bytes import WzSTwin, Ze07CoTwin
from ventwright_drivers.emulated.pms import PmsTwin
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.relay_a0 import A0Twin
from ventwright_drivers.emulated.relay_modbus import ModbusTwin
from ventwright_drivers.emulated.sds011 import Sds011Twin
from ventwright_drivers.emulated.sps30 import Sps30Twin
from ventwright_drivers.emulated.twin import SerialTwin
from ventwright_drivers.serial.link import SerialPart, open_serial

PORT = "/dev/desk"
PARTS = {m: part for m, part in registry.parts().items() if issubclass(part, SerialPart)}
TWINS = registry.twins()
ASKED = {"mh-z19b", "mh-z19c", "sps30"}
"""Parts that never speak unasked."""


def looked(twin: SerialTwin, baud: int = 9600) -> tuple[Found, Desk]:
    desk = Desk(twin, baud)
    return look_at_port(PORT, desk.wiring, quiet), desk


@pytest.mark.parametrize("model", PARTS)
def test_every_serial_part_is_recognised_and_only_silent_ones_are_spoken_to(model: str) -> None:
    found, desk = looked(TWINS[model](AIR.__getitem__), SPEEDS.get(model, 9600))
    assert model in found.models
    assert not found.trouble
    assert found.options == {"port": PORT}
    assert found.place == PORT
    assert model in found.says
    assert bool(desk.sent) == (model in ASKED)


@pytest.mark.parametrize("model", PARTS)
def test_every_serial_part_is_recognised_through_a_real_terminal(model: str) -> None:
    with PtyHost(TWINS[model](AIR.__getitem__)) as host:
        found = look_at_port(host.path, host_wiring(host), quiet)
    assert model in found.models, found


@pytest.mark.parametrize(
    ("model", "rest"),
    [
        ("pms5003", {"pms7003", "pmsa003"}),
        ("pms5003t", set()),
        ("pms5003st", set()),
        ("pms3003", set()),
        ("hpma115s0", set()),
        ("hpma115c0", {"hpma115s0"}),
        ("sds011", set()),
        ("ze07-co", set()),
        ("ze08-ch2o", set()),
        ("wz-s", set()),
        ("sps30", set()),
        ("mh-z19b", {"mh-z19c"}),
    ],
)
def test_what_the_wire_does_not_tell_is_said(model: str, rest: set[str]) -> None:
    found, _ = looked(TWINS[model](AIR.__getitem__), SPEEDS.get(model, 9600))
    assert found.models[0] == model
    assert set(found.models[1:]) == rest
    assert ("the wire does not tell" in found.says) == bool(rest)


def passive() -> PmsTwin:
    twin = PmsTwin(AIR.__getitem__)
    twin.receive(bytes.fromhex("42 4D E1 00 00 01 70"), 0)
    twin.emit(0)
    return twin


def stopped(order: str) -> Hpma115C0Twin:
    twin = Hpma115C0Twin(AIR.__getitem__)
    twin.receive(bytes.fromhex(order), 0)
    twin.emit(20)
    return twin


@pytest.mark.parametrize(
    ("make", "model"),
    [
        (passive, "pms5003"),
        (lambda: Sds011Twin(AIR.__getitem__, active=False), "sds011"),
        (lambda: stopped("68 01 20 77"), "hpma115c0"),
        (lambda: stopped("68 01 20 77 68 01 02 95"), "hpma115c0"),  # refuses: its fan stands
        (lambda: Ze07CoTwin({"co": 3.7}.__getitem__, speaks=False), "ze07-co"),
        (lambda: WzSTwin(AIR.__getitem__, speaks=False), "wz-s"),
    ],
)
def test_parts_told_to_wait_are_asked_and_left_waiting(
    make: Callable[[], SerialTwin], model: str
) -> None:
    twin = make()
    kept = {name: vars(twin).get(name) for name in ("speaks", "running", "_passive", "active")}
    found, _ = looked(twin)
    assert model in found.models
    assert {name: vars(twin).get(name) for name in kept} == kept


def asleep() -> PmsTwin:
    twin = PmsTwin(AIR.__getitem__)
    twin.receive(bytes.fromhex("42 4D E4 00 00 01 73"), 0)
    twin.emit(0)
    return twin


@pytest.mark.parametrize("make", [asleep, lambda: Sps30Twin(AIR.__getitem__, asleep=True)])
def test_a_sleeping_part_is_not_woken(make: Callable[[], Any]) -> None:
    twin = make()
    found, _ = looked(twin, 115_200 if isinstance(twin, Sps30Twin) else 9600)
    assert found.models == ()
    assert "is silent: nothing is there" in found.says
    assert twin.asleep if isinstance(twin, Sps30Twin) else twin._asleep


def test_no_setting_of_a_part_is_touched() -> None:
    for model in ("mh-z19b", "mh-z19c"):
        twin = TWINS[model](AIR.__getitem__)
        looked(twin)
        assert (twin.self_calibration, twin.range, twin.calibrations) == (True, 5000, 0)
    dust = Sds011Twin(AIR.__getitem__, active=False, period=0)
    looked(dust)
    assert (dust.active, dust.awake, dust.period, dust.device) == (False, True, 0, b"\xa1\x60")
    counter = Sps30Twin(AIR.__getitem__)
    looked(counter, 115_200)
    assert (counter._form, counter.interval_s, counter.cleanings) == ("", 604_800, [])


class RecordingA0(A0Twin):
    """Obeys every frame at once, at any speed, and takes any number of channels."""

    def __init__(self, answers: bool) -> None:
        super().__init__(channels=255, answers=answers, gap_ms=0)
        self.obeyed: list[tuple[int, int]] = []

    def _obey(self, channel: int, operation: int, now: int) -> None:
        self.obeyed.append((channel, operation))
        super()._obey(channel, operation, now)


@pytest.mark.parametrize("answers", [True, False])
@pytest.mark.parametrize("baud", [9600, 115_200])
def test_not_one_byte_that_an_a0_board_obeys_is_sent(answers: bool, baud: int) -> None:
    board = RecordingA0(answers)
    found, desk = looked(board, baud)
    assert board.obeyed == []
    assert board.history == []
    assert len(desk.sent) == 6  # it was asked everything
    assert found.models == ()
    assert "relay-a0" in found.says


def test_the_recording_board_does_record() -> None:
    board = RecordingA0(answers=False)
    board.receive(bytes.fromhex("00 A0 01 01 A2"), 0)
    assert board.obeyed == [(1, 1)]


class TextBoard(Silence):
    """Tells its contacts in lines at the byte FF, as some A0 boards do."""

    def receive(self, data: bytes, now: int) -> None:
        self.heard += data
        self.said += b"CH1: OFF\r\nCH2: OFF\r\n" * data.count(0xFF)


def test_a_board_that_tells_its_state_is_named_as_a_relay() -> None:
    found, _ = looked(TextBoard())
    assert found.models == ("relay-a0",)
    assert found.relay


class RecordingModbus(ModbusTwin):
    """Keeps the function of every frame that it takes for valid."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.functions: list[int] = []

    def _obey(self, function: int, data: bytes) -> bytes:
        self.functions.append(function)
        return super()._obey(function, data)


@pytest.mark.parametrize("echo", [True, False])
@pytest.mark.parametrize("coils", [1, 8])
def test_a_modbus_board_is_found_by_reading_alone(echo: bool, coils: int) -> None:
    board = RecordingModbus(coils=coils, echo=echo)
    found, _ = looked(board)
    assert board.functions == [0x01]
    assert board.history == []
    assert found.models == ("relay-modbus",)
    assert found.relay


@pytest.mark.parametrize("address", range(2, 248))
def test_modbus_boards_at_other_addresses_hear_nothing_for_them(address: int) -> None:
    board = RecordingModbus(address=address)
    found, _ = looked(board)
    assert board.functions == []
    assert found.models == ()


def test_a_silent_port_is_asked_everything_and_then_said_to_be_silent() -> None:
    found, desk = looked(Silence())
    assert "nothing is there" in found.says
    assert not found.trouble
    assert desk.clock.now() <= LISTEN_MS + 5000
    assert [baud for baud, _ in desk.sent] == [9600] * 5 + [115_200]


def test_an_echo_is_nobody() -> None:
    for baud in (9600, 115_200):
        found, _ = looked(Echo(), baud)
        assert "is silent" in found.says
        assert found.models == ()


@pytest.mark.parametrize("said", [b"$GPGGA,1,2,3\r\n" * 5, b"login: ", b"\x00\xff\x55"])
def test_who_says_something_unknown_is_not_spoken_to(said: bytes) -> None:
    found, desk = looked(Silence(said))
    assert desk.sent == []
    assert found.trouble
    assert "none of our parts sends" in found.says


class Parrot(Silence):
    """Answers everything by the same."""

    def receive(self, data: bytes, now: int) -> None:
        self.heard += data
        self.said += b"ok\n"


def test_an_odd_answer_ends_the_asking() -> None:
    found, desk = looked(Parrot())
    assert len(desk.sent) == 1
    assert found.trouble
    assert "as none of our parts does" in found.says


def refusing(error: OSError) -> Any:
    def refuse(*_: object) -> Any:
        raise error

    return wiring(FakeClock(), open_port=refuse)


def group(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.setattr(found_module.grp, "getgrgid", lambda _: type("G", (), {"gr_name": name})())


@pytest.mark.parametrize(
    ("owner", "words"),
    [
        ("uucp", "sudo usermod -aG uucp $USER"),
        ("root", "sudo usermod -aG dialout $USER"),
    ],
)
def test_no_permission_comes_with_the_remedy(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, owner: str, words: str
) -> None:
    group(monkeypatch, owner)
    error = PermissionError(errno.EACCES, "Permission denied")
    found = look_at_port(str(tmp_path), refusing(error), quiet)
    assert found.trouble
    assert words in found.says
    assert "log in again" in found.says


def test_a_real_port_without_permission(tmp_path: Any) -> None:
    if os.geteuid() == 0:
        error: Any = PermissionError(errno.EACCES, "Permission denied")
        found = look_at_port("/dev/nowhere", refusing(error), quiet)
    else:
        path = tmp_path / "port"
        path.touch(0)
        found = look_at_port(str(path), wiring(FakeClock(), open_port=open_serial), quiet)
    assert "may not be opened by this user" in found.says


def test_a_file_is_no_port(tmp_path: Any) -> None:
    path = tmp_path / "port"
    path.touch()
    found = look_at_port(str(path), wiring(FakeClock(), open_port=open_serial), quiet)
    assert found.says == "is no serial port: name one of those under /dev/serial/by-path"
    assert found.trouble


def test_a_port_that_is_not_there_says_so() -> None:
    found = look_at_port("/dev/nowhere", wiring(FakeClock(), open_port=open_serial), quiet)
    assert found == Found("/dev/nowhere", found.says, trouble=True)
    assert found.says.startswith("is not there")
    assert look_at_port(PORT, wiring(FakeClock(), open_port=nothing), quiet).trouble


def test_a_port_that_the_daemon_has_open_is_left_alone() -> None:
    twin = A0Twin()
    with PtyHost(twin) as host:
        holder = open_serial(host.path, 9600, "N", 1)
        found = look_at_port(host.path, host_wiring(host), quiet)
        holder.close()
    assert found.trouble
    assert "is in use by another program, perhaps the daemon: stop it first" in found.says


def test_a_port_that_another_process_has_open_is_not_even_opened() -> None:
    opened: list[object] = []
    with PtyHost(A0Twin()) as host, holding(host._slave) as number:
        wires = wiring(FakeClock(), open_port=lambda *args: opened.append(args))
        found = look_at_port(host.path, wires, quiet)
    assert opened == []
    assert found.trouble
    assert f"is in use by another program (cat, process {number}): stop it" in found.says


@pytest.mark.parametrize("when", ["listening", "asking"])
def test_a_port_unplugged_meanwhile_is_trouble_and_no_error(when: str) -> None:
    with PtyHost(Silence()) as host:
        wires = host_wiring(host)

        def pull(text: str) -> None:
            if text.startswith(when):
                host.hang_up()

        found = look_at_port(host.path, wires, pull)
    assert found.trouble
    assert found.says.startswith("does not work: ")
