"""`ventwright check`: every part and relay told, nothing switched unless asked."""

import json
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from fakes import FakeClock, wiring
from ventwright.cli import main
from ventwright.commands import probing
from ventwright.commands.probing import findings
from ventwright.control.server import Server
from ventwright.settings.plan import read_settings
from ventwright.storage.writer import Writer
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.emulated.pms import PmsTwin
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.relay_modbus import ModbusTwin
from ventwright_drivers.errors import DeviceLost

CONFIGURATION = """
[room]
name = "workshop"
volume = 40
[store]
folder = "{folder}/store"
[parts.bench]
model = "pms5003"
port = "{folder}/bench"
[relays.board]
model = "relay-modbus"
port = "{folder}/relay"
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    file = tmp_path / "ventwright.toml"
    file.write_text(CONFIGURATION.format(folder=tmp_path))
    return file


@pytest.fixture
def board(tmp_path: Path) -> Iterator[ModbusTwin]:
    """Plug both in; returns the relay board."""
    clock, twin = SystemClock(), ModbusTwin()
    part = PmsTwin(lambda _: 7.0)
    with PtyHost(twin, tmp_path / "relay") as relay, PtyHost(part, tmp_path / "bench") as bench:
        relay.start(clock)
        bench.start(clock)
        yield twin


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probing, "CLICK_MS", 20)
    monkeypatch.setattr(probing, "READINGS", 1)  # a real terminal takes real time


def call(config: Path, *words: str, says: str = "") -> Result:
    result = CliRunner().invoke(main, ["check", "--config", str(config), *words], input=says)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def test_all_is_well_and_nothing_was_switched(config: Path, board: ModbusTwin) -> None:
    result = call(config)
    assert result.exit_code == 0
    assert "well  part bench (pms5003) at " in result.output
    assert re.search(r"pm2_5 +[07] µg/m³ \(warming up for \d+ s more\)", result.output)
    assert "well  relay board (relay-modbus): it is off" in result.output
    assert board.history == []


def test_switching_is_done_only_after_asking(config: Path, board: ModbusTwin) -> None:
    assert call(config, "--switch", says="n\n").exit_code == 0
    assert board.history == []
    result = call(config, "--switch", says="y\n")
    assert "switched on and off, and read back so" in result.output
    assert [on for _, _, on in board.history] == [True, False]


def test_nothing_plugged_in_is_one_sentence_each_and_status_1(config: Path) -> None:
    result = call(config)
    assert result.exit_code == 1
    assert "FAULT part bench (pms5003)" in result.output
    assert "FAULT relay board (relay-modbus)" in result.output
    assert "is not there: is it plugged in?" in result.output
    found = json.loads(call(config, "--json").output)
    assert [one["well"] for one in found] == [False, False]


def test_a_running_keeper_is_left_its_ports(config: Path, tmp_path: Path) -> None:
    (tmp_path / "store").mkdir()
    server = Server(
        tmp_path / "store" / "keeper.socket", lambda asked: asked.reply.put({"room": "r"})
    )
    server.start()
    try:
        result = call(config)
        assert result.exit_code == 0
        assert "The daemon is running and holds the ports" in result.output
        assert call(config, "--switch").exit_code == 1
    finally:
        server.close()


class Deaf:
    """A relay that obeys but cannot be read back."""

    def __init__(self) -> None:
        self.clock = FakeClock()
        self.commands: list[bool] = []

    def __enter__(self) -> "Deaf":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def switch(self, on: bool) -> None:
        self.commands.append(on)

    def state(self) -> bool | None:
        if self.commands:
            raise DeviceLost("gone")
        return None


def test_a_relay_that_cannot_be_read_back_is_not_left_on(
    config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    relay = Deaf()
    monkeypatch.setattr(probing, "build_relay", lambda *_: relay)
    wires: Any = wiring(relay.clock)
    *_, found = findings(read_settings(config), wires, switch=True)
    assert (found["well"], found["says"]) == (False, "gone")
    assert relay.commands == [True, False]


def test_no_thread_is_left_behind(config: Path, board: ModbusTwin) -> None:
    before = threading.active_count()
    call(config)
    assert threading.active_count() == before


def test_the_hours_of_a_laser_are_told(config: Path, board: ModbusTwin, tmp_path: Path) -> None:
    writer = Writer(tmp_path / "store", "boot", 0)
    writer.keep("core", {"wear": {"bench": ["pms5003", 7_300_000]}})
    writer.commit()
    writer.close()
    result = call(config)
    assert "laser on for 2 h of about 26280 h" in result.output
