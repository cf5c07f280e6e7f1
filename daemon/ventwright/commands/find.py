"""`ventwright find`: what is plugged in, as a piece of configuration."""

import json
import os
import sys
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import config_option, fail, json_option
from ventwright.commands.progress import progress
from ventwright.control.client import NotRunningError, ask
from ventwright.finding.block import add, block
from ventwright.finding.found import Found
from ventwright.finding.looking import Places, look
from ventwright.finding.places import i2c_buses, serial_ports
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.plan import read_settings
from ventwright.wires import machine_wiring
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.part import Wiring

_NOTHING = (
    "There is no serial port and no I2C bus: plug the part in; on a board with a pin header, "
    "switch I2C on in its settings and start it again."
)
_RUNS = "The daemon is running and would be disturbed: stop it first, then look again."


def wires() -> Wiring:
    """Wire to this machine; tests put another in its place."""
    return machine_wiring(SystemClock())


def _places(ports: tuple[str, ...], buses: tuple[int, ...]) -> Places:
    if ports or buses:
        return Places(ports, buses)
    return Places(tuple(serial_ports()), tuple(i2c_buses()))


def _keeper_runs(config: Path) -> bool:
    try:
        ask(read_settings(config).socket, "status")
    except NotRunningError as error:
        return isinstance(error.__cause__, PermissionError)
    except ConfigurationError:
        return False
    return True


def _sentence(one: Found) -> str:
    return f"{one.place} {one.says}."


def _looked(places: Places, as_json: bool) -> list[Found]:
    found = []
    for one in look(places, wires(), progress):
        found.append(one)
        progress("")
        if not as_json:
            click.echo(_sentence(one), err=one.trouble)
    progress("")
    return found


def _as_json(one: Found) -> dict[str, Any]:
    told = {"place": one.place, "says": one.says, "models": one.models}
    return {**told, "options": dict(one.options), "relay": one.relay, "trouble": one.trouble}


def _write(path: Path, found: list[Found]) -> str:
    try:
        return add(path, found, os.environ)
    except ConfigurationError as error:
        pasted = f"\nThis was found:\n\n{block(found)}"  # looking took long: let it not be lost
        fail(f"Nothing was written.\n{error}\n{pasted}".rstrip())


def _tell(found: list[Found], write: Path | None) -> None:
    if write is None:
        click.echo(f"\n{block(found)}", nl=False)
    elif added := _write(write, found):
        click.echo(f"\nAdded to {write}:\n\n{added}", nl=False)
    else:
        click.echo(f"\n{write} has all of it already; nothing was changed.")


@click.command()
@click.option("--port", "ports", multiple=True, help="Look at this serial port only.")
@click.option("--bus", "buses", multiple=True, type=click.IntRange(0), help="At this I2C bus only.")
@click.option("--write", type=click.Path(path_type=Path), help="Add it to this configuration.")
@config_option
@json_option
def find(
    ports: tuple[str, ...], buses: tuple[int, ...], write: Path | None, config: Path, as_json: bool
) -> None:
    """Find out what is plugged in, and write it as a piece of configuration.

    No contact is moved and no setting of a part is changed. It takes up to 10 s a serial port.
    Opening a port restarts the boards of some printers: do not look while one prints over USB,
    or name the ports to look at.
    """
    places = _places(ports, buses)
    if not any(places):
        fail(_NOTHING)
    if _keeper_runs(config):
        fail(_RUNS)
    found = _looked(places, as_json)
    known = [one for one in found if one.models]
    if as_json:
        told: dict[str, Any] = {"found": [_as_json(one) for one in found]}
        told["block"] = block(found) if write is None else _write(write, found)
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
    elif known:
        _tell(found, write)
    else:
        click.echo("No part was recognised.", err=True)
    sys.exit(0 if known else 1)
