"""Commands that ask the running keeper for something: acknowledge, shelve, hold and their like."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import (
    Duration,
    config_option,
    fail,
    json_option,
    settings_or_exit,
)
from ventwright.control.client import NotRunningError, ask


def _ask(config: Path, as_json: bool, verb: str, **words: Any) -> None:
    """Ask and tell the answer; exit status 1 if it was no."""
    try:
        said = ask(settings_or_exit(config).socket, verb, **words)
    except NotRunningError as error:
        fail(str(error))
    click.echo(json.dumps(said, ensure_ascii=False) if as_json else said["says"])
    sys.exit(0 if said["done"] else 1)


@click.command()
@click.argument("alarm")
@config_option
@json_option
def acknowledge(alarm: str, config: Path, as_json: bool) -> None:
    """Say that ALARM was seen; its messages are not repeated then."""
    _ask(config, as_json, "acknowledge", name=alarm)


@click.command()
@click.argument("alarm")
@click.option("--for", "time", type=Duration(), required=True, help='How long: "2 h".')
@config_option
@json_option
def shelve(alarm: str, time: int, config: Path, as_json: bool) -> None:
    """Set ALARM aside for a time: nobody is told, the extractor still runs for it."""
    _ask(config, as_json, "shelve", name=alarm, **{"for": time})


@click.command()
@click.argument("alarm")
@config_option
@json_option
def unshelve(alarm: str, config: Path, as_json: bool) -> None:
    """Take ALARM back before its time is over."""
    _ask(config, as_json, "unshelve", name=alarm)


@click.command()
@click.argument("alarm")
@config_option
@json_option
def reset(alarm: str, config: Path, as_json: bool) -> None:
    """Reset ALARM, which latches and was acknowledged; it is normal then."""
    _ask(config, as_json, "reset", name=alarm)


@click.command("out-of-service")
@click.argument("alarm")
@config_option
@json_option
def out_of_service(alarm: str, config: Path, as_json: bool) -> None:
    """Set ALARM aside until it is put back: nobody is told, the extractor still runs for it."""
    _ask(config, as_json, "take out of service", name=alarm)


@click.command("in-service")
@click.argument("alarm")
@config_option
@json_option
def in_service(alarm: str, config: Path, as_json: bool) -> None:
    """Put ALARM back that is out of service."""
    _ask(config, as_json, "put back in service", name=alarm)


@click.command()
@click.argument("extractor")
@click.argument("state", type=click.Choice(["on", "off"]))
@click.option("--for", "time", type=Duration(), required=True, help='How long: "30 min".')
@config_option
@json_option
def hold(extractor: str, state: str, time: int, config: Path, as_json: bool) -> None:
    """Hold EXTRACTOR on or off for a time, whatever the air does."""
    _ask(config, as_json, "hold", name=extractor, on=state == "on", **{"for": time})


@click.command()
@click.argument("extractor")
@config_option
@json_option
def release(extractor: str, config: Path, as_json: bool) -> None:
    """Let EXTRACTOR decide by itself again."""
    _ask(config, as_json, "release", name=extractor)
