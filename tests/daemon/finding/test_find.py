"""The command: what it prints, writes and exits with, on emulated hardware."""

import json
import tomllib
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from daemon.finding.benches import AIR, WatchedBus
from fakes import FakeClock, TwinPort, nothing, wiring
from ventwright.cli import main
from ventwright.commands import find as command
from ventwright.commands import progress
from ventwright.commands.find import find
from ventwright.finding import looking
from ventwright.settings.plan import read_settings
from ventwright_drivers.emulated.pms import Pms3003Twin
from ventwright_drivers.emulated.relay_a0 import A0Twin
from ventwright_drivers.emulated.sen import Sen55Twin
from ventwright_drivers.errors import DeviceLost

CONFIG = '[room]\nname = "x"\nvolume = 40\n\n[store]\nfolder = "./data"\n'


class Machine:
    """Two ports and two buses."""

    def __init__(self) -> None:
        self.clock = FakeClock()
        self.ports: dict[str, Any] = {"/dev/a": Pms3003Twin(AIR.__getitem__), "/dev/b": A0Twin()}
        self.bus = WatchedBus(self.clock.now)
        self.bus.plug(Sen55Twin(AIR.__getitem__))
        self.wiring = wiring(self.clock, open_port=self._port, open_bus=self._bus)

    def _port(self, path: str, *_: Any) -> Any:
        if path not in self.ports:
            raise DeviceLost(2, "No such file or directory")
        return TwinPort(self.clock, self.ports[path])

    def _bus(self, number: int) -> Any:
        return self.bus if number == 1 else nothing()


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    made = Machine()
    monkeypatch.setattr(command, "wires", lambda: made.wiring)
    monkeypatch.setattr(command, "serial_ports", lambda: list(made.ports))
    monkeypatch.setattr(command, "i2c_buses", lambda: [1])
    return made


def run(*words: str) -> Any:
    return CliRunner().invoke(find, [*words, "--config", "/nowhere.toml"])


def test_it_tells_what_is_there_and_a_block_to_paste(machine: Machine) -> None:
    result = run()
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "/dev/a has a pms3003."
    assert lines[1].startswith("/dev/b is silent: ")
    assert lines[2] == "/dev/i2c-1 address 0x69 has a sen55."
    tree = tomllib.loads("\n".join(lines[3:]))
    assert tree == {
        "parts": {
            "pms3003": {"model": "pms3003", "port": "/dev/a"},
            "sen55": {"model": "sen55", "bus": 1, "address": 0x69},
        }
    }
    assert result.stderr == ""  # no terminal, no progress


def test_only_the_places_named_are_looked_at(machine: Machine) -> None:
    result = run("--bus", "1")
    assert "/dev/a" not in result.stdout
    assert "sen55" in result.stdout
    result = run("--port", "/dev/a")
    assert "sen55" not in result.stdout
    assert machine.bus.calls


def test_json_says_all_of_it(machine: Machine) -> None:
    told = json.loads(run("--json").stdout)
    assert [one["models"] for one in told["found"]] == [["pms3003"], [], ["sen55"]]
    assert told["found"][2]["options"] == {"bus": 1, "address": 0x69}
    assert "sen55" in tomllib.loads(told["block"])["parts"]


def test_write_adds_once(machine: Machine, tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_text(CONFIG)
    result = run("--write", str(path))
    assert result.exit_code == 0
    assert f"Added to {path}:" in result.stdout
    assert path.read_text().startswith(CONFIG)
    result = run("--write", str(path))
    assert "has all of it already; nothing was changed" in result.stdout


def test_write_refuses_a_configuration_with_mistakes(machine: Machine, tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_text("[room]\n")
    result = run("--write", str(path))
    assert result.exit_code == 1
    assert "Nothing was written.\n" in result.stderr
    assert "room.volume is missing" in result.stderr
    assert path.read_text() == "[room]\n"
    assert tomllib.loads(result.stderr.partition("This was found:\n")[2])["parts"].keys() == {
        "pms3003",
        "sen55",
    }


def test_write_begins_a_file_that_check_takes(machine: Machine, tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    result = run("--write", str(path))
    assert result.exit_code == 0
    assert "A GUESS: measure" in result.stdout
    assert set(read_settings(path).parts) == {"pms3003", "sen55"}


def test_a_machine_without_ports_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "serial_ports", list)
    monkeypatch.setattr(command, "i2c_buses", list)
    result = run()
    assert result.exit_code == 1
    assert result.stderr.startswith("There is no serial port and no I2C bus: plug")
    assert result.stderr.count("\n") == 1


def test_trouble_is_told_on_the_error_stream_and_nothing_found_is_status_1(
    machine: Machine,
) -> None:
    result = run("--port", "/dev/none", "--bus", "7")
    assert result.exit_code == 1
    assert "/dev/none is not there" in result.stderr
    assert "/dev/i2c-7 is not there" in result.stderr
    assert result.stderr.endswith("No part was recognised.\n")
    assert result.stdout == ""


def keeper(monkeypatch: pytest.MonkeyPatch, cause: Exception | None, answers: bool) -> None:
    def asked(*_: Any) -> dict[str, Any]:
        if answers:
            return {}
        raise command.NotRunningError("no") from cause

    monkeypatch.setattr(command, "ask", asked)
    monkeypatch.setattr(
        command, "read_settings", lambda _: type("S", (), {"socket": Path("/nowhere")})
    )


@pytest.mark.parametrize(
    ("cause", "answers"), [(None, True), (PermissionError(13, "Permission denied"), False)]
)
def test_a_running_daemon_is_not_disturbed(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, cause: Exception | None, answers: bool
) -> None:
    keeper(monkeypatch, cause, answers)
    result = run()
    assert result.exit_code == 1
    assert result.stderr.startswith("The daemon is running and would be disturbed: stop it")
    assert not machine.bus.calls


def test_a_daemon_that_is_stopped_is_no_obstacle(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper(monkeypatch, ConnectionRefusedError(), answers=False)
    assert run().exit_code == 0


@pytest.mark.parametrize(("columns", "end"), [(32, "/dev/"), (0, "/dev/a")])
def test_progress_is_one_line_on_a_terminal_and_cleared_at_the_end(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, columns: int, end: str
) -> None:
    shown: list[str] = []

    class Terminal:
        def isatty(self) -> bool:
            return True

        def fileno(self) -> int:
            return 2

    monkeypatch.setattr(progress.sys, "stderr", Terminal())
    monkeypatch.setattr(
        progress.os, "get_terminal_size", lambda _: type("W", (), {"columns": columns})
    )
    monkeypatch.setattr(click, "echo", lambda text, **_: shown.append(text))
    command._looked(looking.Places(("/dev/a", "/dev/b"), (1,)), True)
    assert all("\n" not in text for text in shown)
    assert shown[0] == f"\r\x1b[Kport 1 of 2: listening at {end}"
    assert shown[-1] == "\r\x1b[K"


def test_the_command_is_known_and_warns_of_printers() -> None:
    result = CliRunner().invoke(main, ["find", "--help"])
    assert result.exit_code == 0
    assert "No contact is moved" in result.stdout
    assert "prints over USB" in " ".join(result.stdout.split())
