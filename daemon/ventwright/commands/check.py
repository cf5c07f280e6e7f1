"""`ventwright check`: the configuration and every part and relay it names, switching nothing."""

import contextlib
import json
import sqlite3
import sys
from pathlib import Path

import click

from ventwright.commands.options import config_option, json_option, settings_or_exit
from ventwright.commands.probing import CLICK_MS, Finding, findings
from ventwright.commands.progress import progress
from ventwright.commands.ready import as_installed, refuse_secrets, refuse_store, whom
from ventwright.control.client import NotRunningError, ask
from ventwright.settings.durations import format_duration
from ventwright.settings.model import Settings
from ventwright.storage.reader import Reader
from ventwright.wires import machine_wiring
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.quantities import QUANTITIES


def _tell(finding: Finding) -> None:
    kind = "part" if "part" in finding else "relay"
    mark = "well " if finding["well"] else "FAULT"
    known = "place" not in finding or finding["says"].startswith(finding["place"])
    place = "" if known else f" at {finding['place']}"
    click.echo(f"{mark} {kind} {finding[kind]} ({finding['model']}){place}: {finding['says']}")
    if "laser on (h)" in finding:
        life = f" of about {finding['laser life (h)']} h" if finding["laser life (h)"] else ""
        click.echo(f"        laser on for {finding['laser on (h)']} h{life}")
    for quantity, read in finding.get("readings", {}).items():
        click.echo(f"        {_line(quantity, read)}")


def _worn(settings: Settings) -> dict[str, int]:
    """Give how long each laser was on, h, as far as the keeper has stored it."""
    try:
        with contextlib.closing(Reader(settings.store.folder)) as reader:
            saved = reader.state("core") or {}
    except (sqlite3.Error, ValueError):
        return {}
    wear = saved.get("wear", {}) if isinstance(saved, dict) else {}
    models = {name: part.model for name, part in settings.parts.items()}
    return {
        name: ms // 3_600_000 for name, (model, ms) in wear.items() if models.get(name) == model
    }


def _number(quantity: str, value: float | None) -> str:
    """Write a value to the step in which the daemon keeps it, without idle zeros."""
    if value is None:
        return "no value"
    steps = QUANTITIES[quantity].per_unit
    text = f"{round(value * steps) / steps:.{len(str(steps)) - 1}f}"
    return text.rstrip("0").rstrip(".") if steps > 1 else text


def _line(quantity: str, read: Finding) -> str:
    values = ", ".join(_number(quantity, value) for value in read["values"])
    left = read["warm-up left (s)"]
    warm = f" (warming up for {format_duration(1000 * left)} more)" if left else ""
    return f"{quantity:<16}{values} {read['unit']}{warm}"


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
    settings, environ = settings_or_exit(config), as_installed(config)
    refuse_secrets(settings, environ)
    well = f"The configuration {config} is well. {whom(settings, environ)}".rstrip()
    if _keeper_runs(settings):
        click.echo(
            f"{well} The daemon is running and holds the ports: "
            "see `ventwright status`, or stop it to check the hardware.",
            err=True,
        )
        sys.exit(1 if switch else 0)
    refuse_store(settings)
    if not as_json:
        click.echo(well)
    found, worn = [], _worn(settings)
    may_switch = _may_switch(settings, switch)
    for finding in findings(settings, machine_wiring(SystemClock()), may_switch, progress):
        progress("")
        if finding.get("part") in worn and "laser life (h)" in finding:
            finding["laser on (h)"] = worn[finding["part"]]
        found.append(finding)
        if not as_json:
            _tell(finding)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
    sys.exit(0 if all(finding["well"] for finding in found) else 1)
