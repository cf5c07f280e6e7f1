"""`ventwright report`: one HTML file a report, its pictures as PNG, its digest as text."""

import json
import sqlite3
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from ventwright.commands.compare import asked, prints_of, unused
from ventwright.commands.options import Moment, config_option, fail, settings_or_exit
from ventwright.contrasts.compare import compare
from ventwright.contrasts.numbers import finite
from ventwright.contrasts.sample import CompareError
from ventwright.contrasts.several import METHODS
from ventwright.drawing.png import NoPainterError, png
from ventwright.drawing.shapes import Picture
from ventwright.reporting.commissioning_page import (
    commissioning_page,
    commissioning_pictures,
    commissioning_text,
    rates,
)
from ventwright.reporting.comparison_page import (
    comparison_page,
    comparison_pictures,
    comparison_text,
)
from ventwright.reporting.digest import digest
from ventwright.reporting.facts import facts
from ventwright.reporting.gathered import Gathered
from ventwright.reporting.happenings import happenings
from ventwright.reporting.period_page import period_page
from ventwright.reporting.periods import Period, day_of, span_of, week_of
from ventwright.reporting.pictures import pictures
from ventwright.reporting.print_page import print_page, print_pictures, print_text
from ventwright.storage.reader import Reader
from ventwright.trials.figures import FIGURES

Command = Callable[..., Any]

_DAY_OPTION = click.option("--day", "at", type=Moment(), help="A day in it: 2026-05-14. Today.")


def _now() -> int:
    return round(time.time() * 1000)


def out_options(command: Command) -> Command:
    """Add the options that every report has."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="Print the facts as JSON instead."),
        click.option("--text", "as_text", is_flag=True, help="Print the digest instead."),
        click.option("--png", "folder", type=click.Path(path_type=Path), help="Pictures go there."),
        click.option("--out", type=click.Path(path_type=Path), help="The HTML file to write."),
        config_option,
    ):
        command = option(command)
    return command


@click.group()
def report() -> None:
    """Write a report: one HTML file that needs nothing else, for phone, screen and paper."""


@report.command()
@_DAY_OPTION
@out_options
def day(at: int | None, **out: Any) -> None:
    """Report a day.

    Its curve, what happened, what to do.
    """
    _period(day_of(_now() if at is None else at), **out)


@report.command()
@_DAY_OPTION
@out_options
def week(at: int | None, **out: Any) -> None:
    """Report a week.

    Its hours as a timetable, what happened, what to do.
    """
    _period(week_of(_now() if at is None else at), **out)


@report.command()
@click.option("--from", "begins", type=Moment(), required=True, help="2026-01-01")
@click.option("--to", "ends", type=Moment(), required=True, help="2027-01-01")
@out_options
def span(begins: int, ends: int, **out: Any) -> None:
    """Report any other time, a year for one."""
    try:
        _period(span_of(begins, ends), **out)
    except ValueError as error:
        fail(f"No report: {error}.")


@report.command()
@out_options
def commissioning(config: Path, **out: Any) -> None:
    """Report how fast this room clears."""
    settings, made = settings_or_exit(config), _now()
    try:
        with closing(Reader(settings.store.folder)) as reader:
            found = happenings(reader, made).commissioned
    except sqlite3.Error as error:
        fail(f"The store in {settings.store.folder} could not be read: {error}")
    told = [rates(one) for one in found]
    html = commissioning_page(settings, told, made)
    drawn = list(commissioning_pictures(told))
    deliver("commissioning", told, commissioning_text(told), html, drawn, **out)


@report.command()
@click.argument("name")
@click.option("--channel", help="Another channel than the one the trial was marked with.")
@out_options
def trial(name: str, channel: str | None, config: Path, **out: Any) -> None:
    """Report the test print NAME.

    Its curve over its background, and what it emitted.
    """
    (made,) = prints_of(settings_or_exit(config), [name], channel)
    html = print_page(made, _now())
    drawn = list(print_pictures(made))
    deliver(f"trial-{name}", finite(asdict(made)), print_text(made), html, drawn, **out)


@report.command()
@click.argument("trials", nargs=-1)
@click.option("--by", multiple=True, help="A label that makes the condition; may be repeated.")
@click.option("--figure", type=click.Choice(FIGURES), help="What is compared; per gram if it can.")
@click.option("--channel", help="Another channel than the one the trials were marked with.")
@click.option("--method", type=click.Choice(METHODS), default="usual", show_default=True)
@click.option("--reference", help="Compare all others with this condition only.")
@out_options
def comparison(
    trials: Sequence[str],
    by: Sequence[str],
    figure: str | None,
    channel: str | None,
    method: str,
    reference: str | None,
    config: Path,
    **out: Any,
) -> None:
    """Report a comparison of test prints.

    The comparison is that of `ventwright compare`.

    TRIALS: names of trials; all whole ones unless some are named.
    """
    settings = settings_or_exit(config)
    prints = prints_of(settings, trials, channel)
    try:
        plan = {"method": method, "reference": reference}
        samples, question = asked(prints, by, figure, unused(settings, trials), **plan)
        found = compare(samples, question)
    except CompareError as error:
        fail(str(error))
    html = comparison_page(found, prints, settings.room.name, _now())
    drawn = list(comparison_pictures(found, prints))
    deliver("comparison", finite(asdict(found)), comparison_text(found), html, drawn, **out)


def _period(period: Period, config: Path, **out: Any) -> None:
    settings, made = settings_or_exit(config), _now()
    if period.begins >= made:
        fail(f"{period.title} is still to come.")
    try:
        gathered = Gathered(settings, period, made)
    except sqlite3.Error as error:
        fail(f"The store in {settings.store.folder} could not be read: {error}")
    told = facts(gathered)
    drawn = list(pictures(gathered))
    html = period_page(told, drawn, made)
    deliver(period.file, told, digest(told), html, drawn, **out)


def deliver(
    name: str,
    told: Any,
    text: str,
    html: str,
    drawn: Iterable[Picture],
    *,
    out: Path | None,
    folder: Path | None,
    as_text: bool,
    as_json: bool,
) -> None:
    """Write or print a report, as the options say."""
    if as_json or as_text:
        click.echo(json.dumps(told, ensure_ascii=False, indent=2) if as_json else text)
        return
    path = out or Path(f"ventwright-{name}.html")
    try:
        path.write_text(html, encoding="utf-8")
        click.echo(f"{path} holds the report; any browser shows it.")
        if folder is not None:
            _png(name, drawn, folder)
    except NoPainterError as error:
        fail(str(error))
    except OSError as error:
        fail(f"The report could not be written: {error.strerror} ({error.filename}).")


def _png(name: str, drawn: Iterable[Picture], folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for picture in drawn:
        path = folder / f"{name}-{picture.name}.png"
        png(picture, path)
        click.echo(f"{path} holds: {picture.title}.")
