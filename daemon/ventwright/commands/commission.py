"""`ventwright commission`: what the extraction does to this room, measured once."""

import json
import sqlite3
import sys
import time
from collections.abc import Callable, Sequence
from math import nan
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import (
    Duration,
    Finite,
    Moment,
    config_option,
    fail,
    json_option,
    settings_or_exit,
)
from ventwright.commissioning.columns import MOST, ColumnsError, read_columns
from ventwright.commissioning.curves import HOURS, MODELS, VOLUMES, Analysis, Asked, analyse, told
from ventwright.commissioning.here import Here
from ventwright.commissioning.measuring import Wanted, kept, plan, recorded, walked
from ventwright.commissioning.picture import NoMatplotlibError, draw_decays, picture
from ventwright.commissioning.saying import kept_lines, lines, past_lines
from ventwright.commissioning.verdict import CAUTIONS, Extractor
from ventwright.commissioning.verdict import lines as verdict_lines
from ventwright.commissioning.verdict import told as verdict_told
from ventwright.commissioning.walk import StoppedError
from ventwright.control.client import NotRunningError
from ventwright.mixing.curve import FitError
from ventwright.settings.model import DAY, Settings

_PAST = 90 * DAY


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
            level = float(value)
        except ValueError:
            level = nan
        if not abs(level) <= MOST:
            self.fail(f'"{value}" is no level and not the word free', param, ctx)
        return level


def _file(path: Path, asked: Asked, as_json: bool, plot: Path | None) -> None:
    """Analyse a file and tell it; exit status 1 with one sentence where it cannot be."""
    try:
        found = analyse(read_columns(path), asked)
        answer = {"file": str(path), **told(found)}
    except ColumnsError as error:
        fail(str(error))
    except FitError as error:
        fail(f"{path}: {error}; another --model or --background may fit, or more points.")
    except (ArithmeticError, ValueError):
        fail(f"{path}: the numbers of {asked.model} run out of range here; try another --model.")
    if as_json:
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
    else:
        click.echo("\n".join(lines(str(path), answer)))
    if plot is not None:
        _plot(plot, found)


def _plot(path: Path, found: Analysis) -> None:
    _painted(path, lambda: picture(found, path))


def _painted(path: Path, paint: Callable[[], None]) -> None:
    try:
        paint()
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
    click.option(
        "--background-error", type=Finite(0, MOST), default=0.0, help="Its standard error. [0]"
    ),
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
    click.option(
        "--volume", type=Finite(0, 1e9, min_open=True), help="Of the room; then flows are told."
    ),
    click.option(
        "--volume-unit", type=click.Choice(list(VOLUMES)), default="m3", show_default=True
    ),
    click.option("--natural", type=Finite(0, 1e9), help="Loss rate without the device, 1/h."),
    click.option("--plot", type=click.Path(path_type=Path), help="Draw it: FILE.png or FILE.svg."),
)  # fmt: skip


def _with(options: tuple[Any, ...]) -> Callable[[Any], Any]:
    def add(function: Any) -> Any:
        for option in reversed(options):
            function = option(function)
        return function

    return add


_ROOM_OPTIONS = (
    click.option("--past", is_flag=True, help="From what was recorded, without any ritual."),
    click.option("--show", is_flag=True, help="Tell what was found before, newest first."),
    click.option("--from", "first", type=Moment(), help="For --past: since then. [90 days ago]"),
    click.option("--until", "last", type=Moment(), help="For --past: until then. [now]"),
    click.option("--channel", help="Measure with this: bench.pm2_5, carbon.co2."),
    click.option("--extractor", "extractors", multiple=True, help="Only this one. [all of them]"),
    click.option(
        "--ceiling",
        type=Finite(0, min_open=True),
        help="The level at which holding off ends in any case.",
    ),
    click.option(
        "--watch", type=Duration(), default="10 min", help="The background for so long. [10 min]"
    ),
    click.option(
        "--longest", type=Duration(), default="90 min", help="A decay for at most so long. [90 min]"
    ),
    click.option("--dry", is_flag=True, help="Tell the result, but do not give it to the keeper."),
)


@click.command()
@config_option
@_with(_ROOM_OPTIONS)
@_with(_FILE_OPTIONS)
@json_option
def commission(
    config: Path,
    past: bool,
    show: bool,
    file: Path | None,
    as_json: bool,
    plot: Path | None,
    **options: Any,
) -> None:
    """Measure once what each extractor does to this room.

    Without --past, --show or --file it walks you through: background, a decay with all extractors
    held off, a decay with each one on. That takes about two hours and wants a print, or CO2, in
    between. Extractors are held for four minutes at a time, and never off above --ceiling. After
    an interruption call it again; it goes on where it was.

    --file analyses two columns, time and concentration, and needs no configuration.
    """
    if file is not None:
        if past or show:
            fail("--file is analysed by itself: leave out --past and --show.")
        _file(file, _asked(options), as_json, plot)
        return
    settings = settings_or_exit(config)
    if show:
        _show(settings, as_json)
        return
    wanted = Wanted(
        options["channel"],
        options["extractors"],
        options["ceiling"],
        options["watch"],
        options["longest"],
    )
    try:
        _room(settings, wanted, (past, as_json, options["dry"]), _span(options), plot)
    except (StoppedError, NotRunningError) as error:
        fail(str(error))
    except sqlite3.Error as error:
        fail(f"The store in {settings.store.folder} could not be read: {error}.")


def _asked(options: dict[str, Any]) -> Asked:
    volume = options["volume"]
    named = {name: options[name] for name in Asked._fields}
    if volume is not None:
        named["volume"] = volume * VOLUMES[options["volume_unit"]]
    return Asked(**named)


def _span(options: dict[str, Any]) -> tuple[int, int]:
    now = round(time.time() * 1000)
    ends = now if options["last"] is None else options["last"]
    begins = ends - _PAST if options["first"] is None else options["first"]
    if begins >= ends:
        fail("The time ends before it begins.")
    return begins, ends


def _room(
    settings: Settings,
    wanted: Wanted,
    how: tuple[bool, bool, bool],
    span: tuple[int, int],
    plot: Path | None,
) -> None:
    past, as_json, dry = how
    found, remarks = plan(settings, wanted), []
    place = Here(settings, as_json)
    if past:
        verdicts, looked = recorded(settings, found, *span)
        remarks = past_lines(looked)
    else:
        verdicts = walked(settings, place, found)
    said = [] if dry else _handed_over(place, verdicts, needed=not past)
    if as_json:
        answer = {"extractors": [verdict_told(one) for one in verdicts], "says": said}
        click.echo(json.dumps(answer, ensure_ascii=False, indent=2))
    else:
        texts = [line for one in verdicts for line in verdict_lines(one)]
        click.echo("\n".join((*remarks, *texts, *said, *CAUTIONS)))
    if plot is not None:
        _plot_room(plot, verdicts)
    sys.exit(0 if all(not one.against for one in verdicts) else 1)


def _handed_over(place: Here, verdicts: Sequence[Extractor], needed: bool) -> list[str]:
    """Give the keeper what can be concluded; with the past it need not run."""
    try:
        return [
            f"Kept: {place.ask('commissioned', **one.words())['says']}."
            for one in verdicts
            if not one.against
        ]
    except NotRunningError:
        if needed:
            raise
        return ["The keeper does not run, so nothing was kept; call this again when it does."]


def _plot_room(path: Path, verdicts: Sequence[Extractor]) -> None:
    decays = [
        (name, one.decays[-1])
        for verdict in verdicts
        for name, one in (("natural", verdict.natural), (verdict.name, verdict.clearance))
        if one.decays
    ]
    if not decays:
        fail("There is no decay to draw.")
    _painted(path, lambda: draw_decays(decays, path))


def _show(settings: Settings, as_json: bool) -> None:
    """Tell the commissionings that are stored."""
    try:
        found = kept(settings)
    except sqlite3.Error as error:
        fail(f"The store in {settings.store.folder} could not be read: {error}.")
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
        return
    click.echo("\n".join(kept_lines(found)))
