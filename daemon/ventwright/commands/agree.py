"""`ventwright agree`: two parts that stood side by side, and what would make them agree."""

import json
import os
import sqlite3
import time
from pathlib import Path

import click

from ventwright.agreeing.advice import Agreement, agreement
from ventwright.agreeing.pairs import pairs
from ventwright.agreeing.words import lines, told
from ventwright.agreeing.writing import write as write_into
from ventwright.commands.options import (
    Duration,
    Moment,
    config_option,
    fail,
    json_option,
    settings_or_exit,
)
from ventwright.quality.calibration import after
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.findings import listed
from ventwright.settings.model import DAY, MINUTE, Calibration, Settings
from ventwright.storage.reader import Reader


def _found(
    settings: Settings, names: tuple[str, str], span: tuple[int, int], over: int
) -> list[Agreement]:
    try:
        reader = Reader(settings.store.folder)
        try:
            paired = pairs(reader, settings, names, span, max(1, over // MINUTE))
        finally:
            reader.close()
    except sqlite3.Error as error:
        fail(f"The store in {settings.store.folder} could not be read: {error}")
    if not paired:
        fail(f"{names[0]} and {names[1]} have no quantity in common.")
    return [agreement(one, *names) for one in paired]


def _wanted(settings: Settings, part: str, found: list[Agreement]) -> dict[str, Calibration]:
    """Give what is to be written: the values that were paired have the one of now in them."""
    before = settings.parts[part].calibration
    wanted = {}
    for one in found:
        if one.calibration:
            name = one.pairs.quantity.name
            both = after(before.get(name, Calibration()), one.calibration)
            wanted[name] = Calibration(float(f"{both.offset:.4g}"), float(f"{both.slope:.4g}"))
    return wanted


def _write(config: Path, part: str, other: str, wanted: dict[str, Calibration]) -> str:
    if not wanted:
        return "Nothing was written."
    remark = f"From `ventwright agree {part} {other}`, {time.strftime('%d %B %Y')}."
    try:
        write_into(config, part, wanted, remark, os.environ)
    except ConfigurationError as error:
        fail(f"Nothing was written.\n{error}")
    channels = " and ".join(f"{part}.{name}" for name in wanted)
    return f"Written to {config}: the calibration of {channels}. Start the daemon again to use it."


def _known(settings: Settings, part: str, other: str) -> None:
    if part == other:
        fail("A part agrees with itself; name two.")
    for name in (part, other):
        if name not in settings.parts:
            fail(f"There is no part {name}; parts here: {listed(settings.parts)}.")


@click.command()
@click.argument("part")
@click.argument("other")
@config_option
@click.option("--from", "first", type=Moment(), help="Since then: 2026-05-14T08:00. [a day ago]")
@click.option("--until", "last", type=Moment(), help="Until then. [now]")
@click.option("--over", type=Duration(), default="1 min", help="Means to pair. [1 min]")
@click.option("--write", is_flag=True, help="Write PART's calibration to the configuration.")
@json_option
def agree(
    part: str,
    other: str,
    config: Path,
    first: int | None,
    last: int | None,
    over: int,
    write: bool,
    as_json: bool,
) -> None:
    """Compare PART with OTHER, which stood side by side, and say what makes PART read like it.

    From the store. Let both breathe the same air for some hours, a print among them. Values
    count as the calibration of now makes them, whenever they were stored; nothing is written
    unless asked.
    """
    settings = settings_or_exit(config)
    _known(settings, part, other)
    end = round(time.time() * 1000) if last is None else last
    start = end - DAY if first is None else first
    if start >= end:
        fail("The time ends before it begins.")
    found = _found(settings, (part, other), (start, end), over)
    says = _write(config, part, other, _wanted(settings, part, found)) if write else ""
    if as_json:
        answer = {"quantities": [told(one) for one in found], "says": says}
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
        return
    for line in (*lines(found, part, other), *([says] if says else [])):
        click.echo(line)
