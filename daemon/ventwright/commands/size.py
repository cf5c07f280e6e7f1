"""`ventwright size`: how much air a room needs, and how long to wait, before anything is built."""

import json
import sqlite3
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import DEFAULT, Finite, fail, json_option
from ventwright.sizing.given import UNITS, GivenError, Source, by_hand, from_table, limit
from ventwright.sizing.given import single_pass as share_of
from ventwright.sizing.room import Known, from_trial, known
from ventwright.sizing.task import Task
from ventwright.sizing.words import (
    CARBON,
    CAUTIONS,
    PARTICLES_ONLY,
    SMALL_CHAMBERS,
    WELL_MIXED,
    lines,
    told,
)

TIGHT_ROOM = 0.5
"""1/h: the air change of a reference room for products in EN 16516 (from memory)."""


@click.command()
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    envvar="VENTWRIGHT_CONFIG",
    help="Take volume, mixing and measured loss rate from there. "
    f"[{DEFAULT} where it is there and no --volume is given]",
)
@click.option("--volume", type=Finite(0.001, 1e6), help="Of the room, m³.")
@click.option("--loss", type=Finite(0, 1e4), help="What it loses by itself, 1/h. [0.5]")
@click.option("--emission", help="Of one printer, by hand: 2500, or 600-2500.")
@click.option(
    "--unit",
    type=click.Choice(list(UNITS)),
    default="µg/h",
    show_default=True,
    help="Of --emission.",
)
@click.option("--vapour", is_flag=True, help="It is a vapour: particle filters take none of it.")
@click.option("--material", help="Of the literature table instead: PLA, ABS, any.")
@click.option(
    "--quantity",
    default="particles",
    show_default=True,
    help="Of that table: particles, tvoc, styrene, caprolactam, lactide.",
)
@click.option("--trial", help="Of an analysed test print instead, by its name.")
@click.option("--limit", "wanted", help="Rise to stay below: µg/m³, 1/cm³, or a name of the table.")
@click.option(
    "--hours",
    type=Finite(0.001, 1e4),
    default=1.0,
    show_default=True,
    help="How long a print takes.",
)
@click.option("--printers", type=click.IntRange(1, 1000), default=1, show_default=True)
@click.option(
    "--captured",
    type=Finite(0, 1),
    default=0.0,
    help="Share that an enclosure's exhaust takes at the source. [0]",
)
@click.option("--exhaust", type=Finite(0, 1e6), default=0.0, help="To outside, m³/h. [0]")
@click.option(
    "--filter-flow",
    type=Finite(0, 1e6),
    default=0.0,
    help="Through a recirculating filter, m³/h. [0]",
)
@click.option(
    "--filter",
    "filter_",
    default="E12",
    show_default=True,
    help="Its class (EN 1822, ISO 29463), or its share in one pass, 0 to 1.",
)
@click.option("--mixing", type=Finite(1, 10), help="Mixing factor, 1 to 10. [1]")
@json_option
def size(as_json: bool, **options: Any) -> None:
    """Work out the air that a room needs, its levels and the time to wait after a print.

    What the answers rest on is said with them. Nothing is measured or switched.
    """
    try:
        task, source, says = _task(options)
    except GivenError as error:
        fail(str(error))
    except sqlite3.Error as error:
        fail(f"The store could not be read: {error}.")
    cautions = _cautions(task, source)
    if as_json:
        answer = {**told(task, source.says, says), "cautions": cautions}
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
        return
    click.echo("\n".join((*lines(task, source.says, says), "", *cautions)))


def _task(options: dict[str, Any]) -> tuple[Task, Source, str]:
    room = _room(options)
    source = _source(options, room)
    wanted, says = None, ""
    if options["wanted"]:
        wanted, says = limit(options["wanted"], source.unit)
    vapour = source.vapour or options["vapour"]
    task = Task(
        volume=room.volume,
        loss_rate=TIGHT_ROOM if room.loss_rate is None else room.loss_rate,
        emission=source.emission,
        unit=source.unit,
        limit=wanted,
        hours=options["hours"],
        printers=options["printers"],
        captured=options["captured"],
        exhaust=options["exhaust"],
        filter_flow=options["filter_flow"],
        single_pass=0.0 if vapour else share_of(options["filter_"]),
        mixing=room.mixing,
    )
    return task, source._replace(vapour=vapour), says


def _room(options: dict[str, Any]) -> Known:
    config = options["config"]
    if config is None and options["volume"] is None and DEFAULT.exists():
        config = DEFAULT
    if config is None and options["volume"] is None:
        raise GivenError("How large is the room? Give --volume in m³, or --config.")
    found = known(config) if config else Known(0.0, None, 1.0)
    loss = found.loss_rate if options["loss"] is None else options["loss"]
    return Known(
        options["volume"] or found.volume,
        loss,
        options["mixing"] or found.mixing,
        found.settings,
    )


def _source(options: dict[str, Any], room: Known) -> Source:
    given = [name for name in ("emission", "material", "trial") if options[name]]
    if len(given) != 1:
        raise GivenError("What is emitted? Give one of --emission, --material or --trial.")
    if options["emission"]:
        return by_hand(options["emission"], options["unit"])
    if options["material"]:
        return from_table(options["material"], options["quantity"])
    if room.settings is None:
        raise GivenError("A trial is in the store: give --config as well.")
    return from_trial(room.settings, options["trial"])


def _cautions(task: Task, source: Source) -> list[str]:
    said = [WELL_MIXED]
    if source.published:
        said.append(SMALL_CHAMBERS)
    if source.vapour:
        said += [PARTICLES_ONLY, CARBON] if task.filter_flow else [CARBON]
    return [*said, *CAUTIONS]
