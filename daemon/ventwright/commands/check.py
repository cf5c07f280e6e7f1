"""`ventwright check`: the configuration and every part and relay it names, switching nothing."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import config_option, json_option, settings_or_exit
from ventwright.control.client import NotRunningError, ask
from ventwright.keeper.process import build_part, build_relay
from ventwright.settings.model import PartEntry, RelayEntry, Settings
from ventwright.wires import machine_wiring
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.errors import DriverError
from ventwright_drivers.part import Part, Relay, Sample, Wiring
from ventwright_drivers.quantities import QUANTITIES

Finding = dict[str, Any]

PATIENCE_MS = 20_000
CLICK_MS = 2000


def _values(part: Part, sample: Sample) -> dict[str, str]:
    pairs = zip(part.quantities, sample.values, strict=True)
    return {q: "no value" if v is None else f"{v:g} {QUANTITIES[q].unit}" for q, v in pairs}


def _first_sample(part: Part) -> Sample:
    """Wait for a sample as long as the part may take; raises DriverError."""
    until = part.clock.now() + max(PATIENCE_MS, part.silence_ms)
    while True:
        sample = part.read()
        if sample is not None:
            return sample
        if part.clock.now() > until:
            raise DriverError(f"no sample came in {PATIENCE_MS // 1000} s")
        part.clock.sleep_until(part.clock.now() + min(500, part.period_ms))


def _check_part(name: str, entry: PartEntry, wiring: Wiring) -> Finding:
    finding: Finding = {"part": name, "model": entry.model}
    part = build_part(entry, wiring)
    finding["place"] = part.place
    finding["warm-up (s)"] = part.warm_up_ms // 1000
    try:
        with part:
            sample = _first_sample(part)
    except DriverError as error:
        return {**finding, "well": False, "says": str(error)}
    says = sample.fault or "it answers"
    return {**finding, "well": not sample.fault, "says": says, "values": _values(part, sample)}


def _check_relay(name: str, entry: RelayEntry, wiring: Wiring, switch: bool) -> Finding:
    finding: Finding = {"relay": name, "model": entry.model}
    try:
        with build_relay(entry, wiring) as relay:
            state = relay.state()
            if switch:
                return _clicked(finding, *_click(relay))
    except DriverError as error:
        return {**finding, "well": False, "says": str(error)}
    says = {None: "the port opens; this board cannot tell its state", True: "it is on"}
    return {**finding, "well": True, "says": says.get(state, "it is off"), "state": state}


def _click(relay: Relay) -> tuple[bool | None, bool | None]:
    """Switch on and off; returns what was read back each time. Whatever fails, it ends off."""
    clock = relay.clock
    try:
        relay.switch(True)
        clock.sleep_until(clock.now() + CLICK_MS)
        on = relay.state()
    finally:
        relay.switch(False)
    clock.sleep_until(clock.now() + CLICK_MS)
    return on, relay.state()


def _clicked(finding: Finding, on: bool | None, off: bool | None) -> Finding:
    if on is None or off is None:
        return {**finding, "well": True, "says": "commanded on and off; this board cannot confirm"}
    well = on and not off
    says = "switched on and off, and read back so" if well else "it does NOT follow its commands"
    return {**finding, "well": well, "says": says}


def findings(settings: Settings, wiring: Wiring, switch: bool) -> Iterator[Finding]:
    """Go through every part and relay; one finding each, as soon as it is known."""
    for name, part in settings.parts.items():
        yield _check_part(name, part, wiring)
    for name, relay in settings.relays.items():
        yield _check_relay(name, relay, wiring, switch)


def _tell(finding: Finding) -> None:
    kind = "part" if "part" in finding else "relay"
    mark = "well " if finding["well"] else "FAULT"
    place = f" at {finding['place']}" if "place" in finding else ""
    click.echo(f"{mark} {kind} {finding[kind]} ({finding['model']}){place}: {finding['says']}")
    for quantity, value in finding.get("values", {}).items():
        click.echo(f"        {quantity} {value}")
    if finding.get("warm-up (s)"):
        click.echo(f"        trustworthy {finding['warm-up (s)']} s after its start")


def _keeper_runs(settings: Settings) -> bool:
    try:
        ask(settings.socket, "status")
    except NotRunningError:
        return False
    return True


def _may_switch(settings: Settings, switch: bool) -> bool:
    if not switch or not settings.relays:
        return False
    names = ", ".join(settings.relays)
    return click.confirm(f"Switch {names} on for {CLICK_MS // 1000} s and off again?", err=True)


@click.command()
@config_option
@json_option
@click.option("--switch", is_flag=True, help="Click every relay on and off, after asking.")
def check(config: Path, as_json: bool, switch: bool) -> None:
    """Go through the configuration and the hardware, switching nothing unless asked."""
    settings = settings_or_exit(config)
    if _keeper_runs(settings):
        click.echo(
            f"The configuration {config} is well. The daemon is running and holds the ports: "
            "see `ventwright status`, or stop it to check the hardware.",
            err=True,
        )
        sys.exit(1 if switch else 0)
    if not as_json:
        click.echo(f"The configuration {config} is well.")
    found = []
    for finding in findings(settings, machine_wiring(SystemClock()), _may_switch(settings, switch)):
        found.append(finding)
        if not as_json:
            _tell(finding)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
    sys.exit(0 if all(finding["well"] for finding in found) else 1)
