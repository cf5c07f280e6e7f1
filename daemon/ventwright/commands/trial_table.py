"""`ventwright trial table`: what emitted, from a file of times and levels."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import fail, json_option
from ventwright.contrasts.numbers import finite
from ventwright.contrasts.words import figure_words
from ventwright.trials.figures import Figure
from ventwright.trials.table import (
    PER_HOUR,
    Found,
    Phases,
    TableError,
    build_up,
    given,
    read_levels,
    whole_print,
)

_NEEDED = click.FloatRange(min=0, min_open=True)


@click.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--volume", type=_NEEDED, required=True, help="Of room or chamber, m³.")
@click.option(
    "--time-unit", "unit", type=click.Choice(sorted(PER_HOUR)), default="min", show_default=True
)
@click.option("--print-from", "begins", type=float, help="When the print began, in that unit.")
@click.option("--print-to", "ends", type=float, help="When it ended.")
@click.option(
    "--background", type=float, default=0.0, show_default=True, help="Of a build-up, its level."
)
@click.option("--loss-rate", type=_NEEDED, help="1/h, instead of that of the decay.")
@click.option("--loss-rate-error", type=click.FloatRange(min=0), default=0.0, help="Its error.")
@click.option("--grams", type=_NEEDED, help="Filament printed.")
@json_option
def table(
    file: Path,
    volume: float,
    unit: str,
    begins: float | None,
    ends: float | None,
    background: float,
    loss_rate: float | None,
    loss_rate_error: float,
    grams: float | None,
    as_json: bool,
) -> None:
    """Tell what emitted, from FILE: a time and a level a line.

    With --print-from and --print-to the points before are the background and those after the
    decay. Without them all are the build-up of a steady source from time 0.
    """
    if (begins is None) != (ends is None):
        fail("--print-from and --print-to belong together")
    try:
        times, levels = read_levels(file, unit)
        if begins is None or ends is None:
            found = build_up(times, levels, volume, background)
        else:
            phases = Phases(begins / PER_HOUR[unit], ends / PER_HOUR[unit])
            found = whole_print(times, levels, phases, volume, given(loss_rate, loss_rate_error))
    except TableError as error:
        fail(str(error))
    told = _told(found, grams)
    if as_json:
        click.echo(json.dumps(finite(told), ensure_ascii=False, indent=2))
        return
    for name, figure in _rows(found, grams).items():
        click.echo(f"{name}: {figure_words(figure)}".rstrip())


def _rows(found: Found, grams: float | None) -> dict[str, Figure]:
    """Name the figures that there are."""
    rows = {"emitted an hour": found.rate, "loss rate (1/h)": found.loss_rate}
    if found.total is not None:
        rows["emitted in all"] = found.total
        if grams is not None:
            rows["per gram"] = _per(found.total, grams)
    return rows


def _per(total: Figure, grams: float) -> Figure:
    parts = (total.value, total.low, total.high, total.standard)
    value, low, high, standard = (None if part is None else part / grams for part in parts)
    return Figure(value, "", low, high, standard)


def _told(found: Found, grams: float | None) -> dict[str, Any]:
    rows = {name: asdict(figure) for name, figure in _rows(found, grams).items()}
    return {**rows, "steady rise": found.steady, "r2": found.r2}
