"""`ventwright trial table`: what emitted, from a file of times and levels."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import Finite, fail, json_option
from ventwright.contrasts.numbers import finite
from ventwright.contrasts.words import figure_words
from ventwright.trials.figures import Figure
from ventwright.trials.rates import FASTEST
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

AMOUNTS = {"µg/m³": "µg", "mg/m³": "mg", "1/cm³": "million particles"}
"""By the unit of levels: that times m³, as amounts are told."""

_RATE = Finite(min=0, max=FASTEST, min_open=True)
_TIME = Finite(-1e9, 1e9)


@click.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--volume", type=Finite(1e-6, 1e9), required=True, help="Of room or chamber, m³.")
@click.option(
    "--time-unit", "unit", type=click.Choice(sorted(PER_HOUR)), default="min", show_default=True
)
@click.option("--print-from", "begins", type=_TIME, help="When the print began, in that unit.")
@click.option("--print-to", "ends", type=_TIME, help="When it ended.")
@click.option(
    "--background",
    type=Finite(-1e100, 1e100),
    help="Its level; 0 for a build-up, else from before.",
)
@click.option(
    "--level-unit", "level", type=click.Choice(sorted(AMOUNTS)), help="To name amounts by."
)
@click.option("--loss-rate", type=_RATE, help="1/h, instead of that of the decay.")
@click.option("--loss-rate-error", type=Finite(0, FASTEST), default=0.0, help="Its error.")
@click.option("--grams", type=Finite(1e-3, 1e6), help="Filament printed.")
@json_option
def table(
    file: Path,
    volume: float,
    unit: str,
    begins: float | None,
    ends: float | None,
    background: float | None,
    level: str | None,
    loss_rate: float | None,
    loss_rate_error: float,
    grams: float | None,
    as_json: bool,
) -> None:
    """Tell what emitted, from FILE: a time and a level a line.

    With --print-from and --print-to the points before are the background and those after the
    decay. Without them all are the build-up of a steady source from time 0. Amounts are in the unit
    of the levels times m³.
    """
    if (begins is None) != (ends is None):
        fail("--print-from and --print-to belong together")
    try:
        times, levels = read_levels(file, unit)
        known = given(loss_rate, loss_rate_error)
        if begins is None or ends is None:
            found = build_up(times, levels, volume, background or 0.0, known.get(False))
        else:
            phases = Phases(begins / PER_HOUR[unit], ends / PER_HOUR[unit])
            found = whole_print(times, levels, phases, volume, known, background)
    except TableError as error:
        fail(str(error))
    told = _told(found, grams, AMOUNTS[level] if level else "")
    if as_json:
        click.echo(json.dumps(finite(told), ensure_ascii=False, indent=2))
        return
    for name, figure in _rows(found, grams, AMOUNTS[level] if level else "").items():
        click.echo(f"{name}: {figure_words(figure)}".rstrip())


def _rows(found: Found, grams: float | None, amount: str) -> dict[str, Figure]:
    """Name the figures that there are, amounts in the unit `amount` if one is known."""
    rows = {"emitted an hour": _in(found.rate, amount and f"{amount}/h")}
    rows["loss rate (1/h)"] = found.loss_rate
    if found.total is not None:
        rows["emitted in all"] = _in(found.total, amount)
        if grams is not None:
            rows["per gram"] = _in(found.total, amount and f"{amount}/g", grams)
    return rows


def _in(figure: Figure, unit: str, over: float = 1.0) -> Figure:
    parts = (figure.value, figure.low, figure.high, figure.standard)
    value, low, high, standard = (None if part is None else part / over for part in parts)
    return Figure(value, unit, low, high, standard, why=figure.why)


def _told(found: Found, grams: float | None, amount: str) -> dict[str, Any]:
    rows = {name: asdict(figure) for name, figure in _rows(found, grams, amount).items()}
    return {**rows, "steady rise": found.steady, "r2": found.r2}
