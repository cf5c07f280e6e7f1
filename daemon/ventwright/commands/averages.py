"""`ventwright averages`: how bad is it, over the times that published limits are made for."""

import json
import sqlite3
import time
from pathlib import Path
from typing import Any

import click

from ventwright.averaging.gather import end_of, gather
from ventwright.averaging.telling import channel_told
from ventwright.averaging.water import water_told
from ventwright.averaging.words import lines
from ventwright.commands.options import (
    Moment,
    config_option,
    fail,
    json_option,
    settings_or_exit,
)
from ventwright.settings.model import Settings
from ventwright.storage.reader import Reader


def told(settings: Settings, at: int | None) -> list[dict[str, Any]]:
    """Tell all channels until `at` (Unix ms) or now; raises sqlite3.Error."""
    reader = Reader(settings.store.folder)
    try:
        end = end_of(reader, round(time.time() * 1000)) if at is None else at
        return [channel_told(stretch) for stretch in gather(reader, settings, end)]
    finally:
        reader.close()


@click.command()
@config_option
@click.option("--at", type=Moment(), help="Until then instead of now: 2026-05-14T14:20.")
@json_option
def averages(config: Path, at: int | None, as_json: bool) -> None:
    """Tell the means of every channel beside the published limits of the same averaging time.

    From the store, whether the daemon runs or not. A mean that readings cover by less than three
    quarters is not told.
    """
    settings = settings_or_exit(config)
    try:
        channels = told(settings, at)
    except sqlite3.Error as error:
        fail(f"The store in {settings.store.folder} could not be read: {error}")
    if as_json:
        water = list(water_told(channels))
        answer = {"room": settings.room.name, "channels": channels, "water in the air": water}
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
        return
    for line in lines(settings.room.name, channels):
        click.echo(line)
