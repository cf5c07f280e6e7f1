"""`ventwright check` with each fault caused for real: one clear sentence, and never a traceback."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from daemon.finding.benches import AIR, holding, host_wiring
from ventwright.cli import main
from ventwright.commands.probing import findings
from ventwright.settings.plan import read_settings
from ventwright_drivers import registry
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.twin import SerialTwin

HEAD = '[room]\nname = "workshop"\nvolume = 40\n[store]\nfolder = "{}/store"\n'
SERIAL = '[parts.bench]\nmodel = "{}"\nport = "{}"\n'

AS_ANOTHER = """
import os, sys
import serial
from smbus2 import SMBus
from ventwright import cli
from ventwright.commands import check, find
from ventwright.settings.plan import read_settings
from ventwright_drivers import registry
from ventwright_drivers.part import Wiring

registry.parts(), registry.relays()
file, bus, *words = sys.argv[1:]
settings = read_settings(file)
check.settings_or_exit = lambda _: settings
machine = check.machine_wiring
def wired(clock):
    real = machine(clock)
    return Wiring(clock, real.open_port, lambda _: SMBus(bus), real.request_lines)
check.machine_wiring = find.machine_wiring = wired
if os.getuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
cli.main(words)
"""
"""Runs a command as a user who owns nothing, all modules and the configuration being read."""


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that any user may enter, with a store that any user may use."""
    with tempfile.TemporaryDirectory() as made:
        path = Path(made)
        path.chmod(0o755)
        (path / "store").mkdir()
        (path / "store").chmod(0o777)
        yield path


def part(model: str) -> SerialTwin:
    made: SerialTwin = registry.twins()[model](AIR.__getitem__)
    return made


def configured(folder: Path, *tables: str) -> Path:
    file = folder / "ventwright.toml"
    file.write_text(HEAD.format(folder) + "".join(tables))
    return file


def as_another(file: Path, bus: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", AS_ANOTHER, str(file), str(bus), *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def check(file: Path) -> tuple[int, list[str]]:
    result = CliRunner().invoke(main, ["check", "--config", str(file)])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.output.splitlines()[1:]


def test_a_port_and_a_bus_that_this_user_may_not_open(folder: Path) -> None:
    with PtyHost(part("pms5003"), folder / "port") as host:
        Path(host._slave_path).chmod(0o600 if os.getuid() == 0 else 0)
        bus = folder / "i2c-1"
        bus.touch(0o600 if os.getuid() == 0 else 0)
        climate = '[parts.climate]\nmodel = "sht40"\n'
        file = configured(folder, SERIAL.format("pms5003", host.path), climate)
        ran = as_another(file, bus, "check", "--config", str(file))
        found = as_another(file, bus, "find", "--port", host.path, "--bus", "1")
    assert (ran.returncode, ran.stderr) == (1, "")
    _, serial, i2c = ran.stdout.splitlines()
    assert serial.startswith(f"FAULT part bench (pms5003): {host.path} may not be ")
    for line in (serial, i2c):
        assert " may not be opened by this user: run `sudo usermod -aG " in line
        assert line.endswith("$USER` and log in again")
    assert "(sht40): /dev/i2c-1 may not" in i2c
    assert "usermod -aG i2c" in i2c

    (port, other, last) = found.stderr.splitlines()
    assert (found.returncode, found.stdout, last) == (1, "", "No part was recognised.")
    assert port.startswith(f"{host.path} may not be opened by this user: run `sudo usermod -aG ")
    assert other.startswith("/dev/i2c-1 may not be opened by this user: run `sudo usermod -aG i2c ")


def test_no_bus(folder: Path) -> None:
    file = configured(folder, '[parts.gas]\nmodel = "scd41"\nbus = 97\n')
    assert check(file) == (
        1,
        [
            "FAULT part gas (scd41) at /dev/i2c-97: I2C bus 97 is not there: "
            "is I2C switched on in the board's settings?"
        ],
    )


def test_a_port_that_another_process_uses(folder: Path) -> None:
    relay = '[relays.fan]\nmodel = "relay-a0"\nport = "{}"\n'
    with PtyHost(part("pms5003"), folder / "port") as host, holding(host._slave) as number:
        status, told = check(configured(folder, SERIAL.format("pms5003", host.path)))
        gas = '[parts.gas]\nmodel = "scd41"\nbus = 97\n'
        same = check(configured(folder, gas, relay.format(host.path)))[1][1:]
        path = host.path
    who = f"is in use by another program (cat, process {number}): stop it first"
    assert (status, told) == (1, [f"FAULT part bench (pms5003): {path} {who}"])
    assert same == [f"FAULT relay fan (relay-a0): {path} {who}"]


@pytest.mark.parametrize(
    ("wanted", "there", "write"),
    [
        ("pms5003", "pms5003t", 'model = "pms5003t" there'),
        ("pms5003", "pms3003", 'model = "pms3003" there'),
        ("pms5003", "pms5003st", 'model = "pms5003st" there'),
        ("sds011", "pms5003", "as model there what is printed on it"),
        ("mh-z19b", "ze07-co", 'model = "ze07-co" there'),
    ],
)
def test_the_wrong_variant_through_a_real_terminal(
    folder: Path, wanted: str, there: str, write: str
) -> None:
    with PtyHost(part(there), folder / "port") as host:
        settings = read_settings(configured(folder, SERIAL.format(wanted, host.path)))
        (found,) = findings(settings, host_wiring(host), switch=False)
        assert found["says"].startswith(f"{host.path} has a {there}")
    assert not found["well"]
    assert found["says"].endswith(f"not the {wanted} of [parts.bench]: write {write}")
