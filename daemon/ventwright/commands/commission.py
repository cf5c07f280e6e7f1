"""`ventwright commission`: what the extraction does to this room, measured once."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import fail, json_option
from ventwright.commissioning.columns import ColumnsError, read_columns
from ventwright.commissioning.curves import HOURS, MODELS, VOLUMES, Analysis, Asked, analyse, told
from ventwright.commissioning.picture import NoMatplotlibError, picture
from ventwright.commissioning.saying import lines


class Background(click.ParamType[float | None]):
    """A level, or the word `free`, read as None."""

    name = "level|free"

    def convert(
        self, value: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> float | None:
        """Read the text; fails with what is allowed."""
        if value == "free":
            return None
        try:
            return float(value)
        except ValueError:
            self.fail(f'"{value}" is no level and not the word free', param, ctx)


def _file(path: Path, asked: Asked, as_json: bool, plot: Path | None) -> None:
    """Analyse a file and tell it; exit status 1 with one sentence where it cannot be."""
    try:
        found = analyse(read_columns(path), asked)
    except ColumnsError as error:
        fail(str(error))
    except ValueError as error:
        fail(f"{path}: {error}; another --model or --background may fit, or more points.")
    answer = {"file": str(path), **told(found)}
    if as_json:
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
    else:
        click.echo("\n".join(lines(str(path), answer)))
    if plot is not None:
        _plot(plot, found)


def _plot(path: Path, found: Analysis) -> None:
    try:
        picture(found, path)
    except NoMatplotlibError as error:
        fail(str(error))
    except (OSError, ValueError) as error:
        fail(f"{path} cannot be written: {error}.")
    click.echo(f"The picture is in {path}.", err=True)


_FILE_OPTIONS = (
    click.option(
        "--file",
        "file",
        type=click.Path(path_type=Path),
        help="Analyse a file of two columns, time and concentration, instead of this room.",
    ),
    click.option("--model", type=click.Choice(MODELS), default="decay", show_default=True),
    click.option(
        "--background",
        type=Background(),
        default="0",
        show_default=True,
        help="What the room shows without a source; free: to be fitted.",
    ),
    click.option("--background-error", type=float, default=0.0, help="Its standard error. [0]"),
    click.option(
        "--noise",
        type=click.Choice(["even", "level"]),
        default="even",
        show_default=True,
        help="Whether the file's noise is the same everywhere or may grow with the level.",
    ),
    click.option(
        "--time-unit", type=click.Choice(list(HOURS)), default="h", show_default=True,
        help="Of the file's first column. Dates need none.",
    ),
    click.option("--unit", default="", help="Of the file's second column, to be told with it."),
    click.option("--volume", type=float, help="Of the room; flows are told then."),
    click.option(
        "--volume-unit", type=click.Choice(list(VOLUMES)), default="m3", show_default=True
    ),
    click.option("--natural", type=float, help="Loss rate without the device, 1/h."),
    click.option("--plot", type=click.Path(path_type=Path), help="Draw it: FILE.png or FILE.svg."),
)  # fmt: skip


def _with(options: tuple[Any, ...]) -> Callable[[Any], Any]:
    def add(function: Any) -> Any:
        for option in reversed(options):
            function = option(function)
        return function

    return add


@click.command()
@_with(_FILE_OPTIONS)
@json_option
def commission(file: Path | None, as_json: bool, plot: Path | None, **options: Any) -> None:
    """Measure once what each extractor does to this room, or analyse a decay in a file."""
    if file is not None:
        _file(file, _asked(**options), as_json, plot)


def _asked(volume: float | None, volume_unit: str, **rest: Any) -> Asked:
    if volume is not None and volume <= 0:
        fail(f"The volume of {volume:g} is none; it must be above 0.")
    cubic_metres = None if volume is None else volume * VOLUMES[volume_unit]
    return Asked(volume=cubic_metres, **rest)
