"""Starts and stops the two services, and tells whether a release became ready."""

import time
from collections.abc import Callable

from installer.machine import Machine, Refusal
from installer.releases import HOME
from installer.system import UNITS

_CHATTER = ("Starting ", "Started ", "Stopping ", "Stopped ", "INFO ", "relay ")

SETTLED_S = 6.0
"""How long both have to stay up: longer than the keeper's pause before it is started again."""


def running(machine: Machine) -> bool:
    """Tell whether both services are up."""
    active = (machine.run("systemctl", "is-active", "--quiet", unit) for unit in UNITS)
    return all(done.returncode == 0 for done in active)


def stop(machine: Machine) -> None:
    """Stop both; relays go to their safe state. Raises Refusal if one does not end."""
    machine.must("The services could not be stopped", "systemctl", "stop", *UNITS)


def start(machine: Machine, wait: Callable[[float], None] = time.sleep) -> None:
    """Start both, and again at every boot; raises Refusal with the reason if one is not ready."""
    machine.must("The services could not be enabled", "systemctl", "enable", "--quiet", *UNITS)
    machine.run("systemctl", "reset-failed", *UNITS)
    for unit in reversed(UNITS):
        if machine.run("systemctl", "restart", "--no-block", unit).returncode:
            raise Refusal(f"{unit} cannot be started")
    for unit in UNITS:
        if machine.run("systemctl", "start", unit).returncode:
            raise Refusal(f"{unit} did not become ready: {_last_line(machine, unit)}")
    before = _starts(machine)
    wait(SETTLED_S)
    if not running(machine) or _starts(machine) != before:
        raise Refusal(f"the services do not stay up: {_last_line(machine, UNITS[0])}")
    if machine.run(f"{HOME}/now/bin/ventwright", "status").returncode:
        raise Refusal("the keeper does not answer")


def _starts(machine: Machine) -> str:
    return machine.run("systemctl", "show", "--property=NRestarts", *UNITS).stdout


def _last_line(machine: Machine, unit: str) -> str:
    """Give the last line of a unit's journal that tells why, not merely that it was started."""
    lines = machine.run("journalctl", "-u", unit, "-n", "40", "-o", "cat").stdout.splitlines()
    telling = [line for line in lines if line.strip() and not line.startswith(_CHATTER)]
    plain = [line for line in telling if not line.startswith(unit)]
    told = (plain or telling)[-1:]
    return told[0] if told else f"it said nothing; see journalctl -u {unit}"
