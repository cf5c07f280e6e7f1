"""`ventwright trial`: guide a test print, mark one that happened, list them, show them."""

import json
import select
import sqlite3
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

import click

from ventwright.commands.options import (
    Duration,
    Moment,
    config_option,
    fail,
    json_option,
    settings_or_exit,
)
from ventwright.contrasts.numbers import finite
from ventwright.control.client import NotRunningError, ask
from ventwright.rehearsal.words import paragraph
from ventwright.settings.model import MINUTE, Settings
from ventwright.storage.reader import Reader
from ventwright.trials.analyse import TrialError, Wishes, analyse, channel_of
from ventwright.trials.guide import Guide, GuideError, Plan
from ventwright.trials.marking import Trial, read_trials
from ventwright.trials.words import list_lines, print_lines

Found = TypeVar("Found")


class Labels(click.ParamType[dict[str, str]]):
    """A label such as material=PLA."""

    name = "label"

    def convert(self, value: Any, param: Any, ctx: Any) -> dict[str, str]:
        """Read NAME=VALUE; fails with what is allowed."""
        if isinstance(value, dict):
            return value
        name, sign, text = str(value).partition("=")
        name, text = name.strip(), text.strip()
        if not sign or not name or not text:
            self.fail(f'"{value}" is no label such as material=PLA', param, ctx)
        return {name: text}


label_option = click.option(
    "--label", "-l", "labels", type=Labels(), multiple=True, help="NAME=VALUE, such as door=open."
)
grams_option = click.option(
    "--grams", type=click.FloatRange(min=0, min_open=True), help="Filament printed, all printers."
)
printers_option = click.option(
    "--printers", type=click.IntRange(1, 100), help="How many printers ran; 1 unless given."
)
channel_option = click.option("--channel", help="What is measured; the first pm2_5 unless given.")


def _labels(
    labels: Sequence[Mapping[str, str]], grams: float | None, printers: int | None
) -> dict[str, str]:
    found = {name: value for label in labels for name, value in label.items()}
    if grams is not None:
        found["grams"] = f"{grams:g}"
    if printers is not None:
        found["printers"] = str(printers)
    return found


@click.group()
def trial() -> None:
    """Make test prints under named conditions, and tell what they emitted.

    Repeat every condition: one print says nothing of how the next would come out. `ventwright
    compare` compares the conditions.
    """


def _read(settings: Settings, take: Callable[[Reader], Found]) -> Found:
    """Read from the store, or end with a sentence."""
    try:
        reader = Reader(settings.store.folder)
        try:
            return take(reader)
        finally:
            reader.close()
    except sqlite3.Error as error:
        fail(f"The store in {settings.store.folder} could not be read: {error}")
    except TrialError as error:
        fail(str(error))


def _asked(settings: Settings, verb: str, **words: Any) -> str:
    """Ask the keeper, or end with its sentence."""
    try:
        said = ask(settings.socket, verb, **words)
    except NotRunningError as error:
        fail(str(error))
    if not said["done"]:
        fail(f"The keeper refused: {said['says']}")
    return str(said["says"])


class _Terminal:
    """The person at the printer, on this terminal."""

    def say(self, text: str) -> None:
        """Print it."""
        click.echo(paragraph(text))

    def now(self) -> float:
        """Read the monotonic clock."""
        return time.monotonic()

    def wait(self, seconds: float) -> bool:
        """Wait for Enter; an ended input is waited out."""
        ready = select.select([sys.stdin], [], [], seconds)[0]
        if ready and sys.stdin.readline():
            return True
        if ready:
            time.sleep(seconds)
        return False


@trial.command()
@click.argument("name")
@label_option
@grams_option
@printers_option
@channel_option
@click.option(
    "--ceiling",
    type=click.FloatRange(min=0, min_open=True),
    required=True,
    help="Above this one-minute mean extraction is no longer held off, and the trial ends.",
)
@click.option(
    "--within",
    type=click.FloatRange(min=0, min_open=True),
    default=2.0,
    show_default=True,
    help="How near its baseline the air has to be before it begins, the channel's unit.",
)
@click.option("--flush-for", type=Duration(), default="45 min", show_default=True)
@click.option("--background-for", type=Duration(), default="20 min", show_default=True)
@click.option("--decay-for", type=Duration(), default="60 min", show_default=True)
@click.option("--resume", is_flag=True, help="Go on with an interrupted trial where it was.")
@config_option
def guide(
    name: str,
    labels: Sequence[Mapping[str, str]],
    grams: float | None,
    printers: int | None,
    channel: str | None,
    ceiling: float,
    within: float,
    flush_for: int,
    background_for: int,
    decay_for: int,
    resume: bool,
    config: Path,
) -> None:
    """Guide the test print NAME: flush, background, print, decay.

    The extractor is held off meanwhile, so nobody stays in the room; at the ceiling it decides by
    itself again, whatever you are doing. This is no alarm: certified smoke and CO alarms stay.
    """
    settings = settings_or_exit(config)
    start = _start(settings, name, resume)
    plan = Plan(
        name,
        channel_of(settings, Trial(name), Wishes(channel=channel)),
        ceiling,
        _labels(labels, grams, printers),
        within,
        flush_for,
        background_for,
        decay_for,
        start=start,
    )

    def asking(verb: str, **words: Any) -> dict[str, Any]:
        return ask(settings.socket, verb, **words)

    try:
        Guide(plan, asking, _Terminal()).run()
    except (GuideError, NotRunningError) as error:
        fail(f"{name}: {error}")
    except KeyboardInterrupt:
        fail(
            f"{name} was interrupted and the extractor released. `ventwright trial guide {name} "
            f"--resume ...` goes on, `ventwright trial discard {name}` gives it up; until then it "
            "is not used"
        )


def _start(settings: Settings, name: str, resume: bool) -> str:
    """Tell with which phase to begin; ends with a sentence where that cannot be."""
    there = _read(settings, read_trials).get(name)
    if there is None or there.discarded:
        if resume:
            fail(f'there is no open trial "{name}" to resume')
        return "flush"
    if there.state == "whole":
        fail(f'"{name}" is a whole trial already: name this one otherwise, such as "{name}-2"')
    if not resume:
        fail(
            f'"{name}" was interrupted in its {there.phase} phase: go on with --resume, or give it '
            f"up with `ventwright trial discard {name}`"
        )
    return there.phase if there.phase in ("print", "decay") else "flush"


@trial.command()
@click.argument("name")
@click.option("--from", "begins", type=Moment(), required=True, help="When the print began.")
@click.option("--to", "ends", type=Moment(), required=True, help="When it ended.")
@click.option(
    "--background-for",
    type=Duration(),
    default="20 min",
    show_default=True,
    help="How long before it nothing emitted.",
)
@click.option(
    "--decay-for",
    type=Duration(),
    default="60 min",
    show_default=True,
    help="How long after it nothing emitted.",
)
@label_option
@grams_option
@printers_option
@channel_option
@config_option
def past(
    name: str,
    begins: int,
    ends: int,
    background_for: int,
    decay_for: int,
    labels: Sequence[Mapping[str, str]],
    grams: float | None,
    printers: int | None,
    channel: str | None,
    config: Path,
) -> None:
    """Mark the print NAME that already happened, from one time to another."""
    settings = settings_or_exit(config)
    there = _read(settings, read_trials).get(name)
    if there is not None and not there.discarded:
        fail(f'there is a trial "{name}" already: name this one otherwise, or discard that one')
    if ends <= begins:
        fail("the print must end after it began: --from is not before --to")
    end = ends + decay_for
    if end > time.time() * 1000:
        short = end - time.time() * 1000
        fail(
            f"its decay would end {short / MINUTE:.0f} min from now: wait, or make --decay-for "
            "shorter"
        )
    at = {"background": begins - background_for, "print": begins, "decay": ends, "end": end}
    words: dict[str, Any] = {"labels": _labels(labels, grams, printers), "at": at}
    chosen = channel_of(settings, Trial(name), Wishes(channel=channel))
    click.echo(_asked(settings, "mark", name=name, phase="past", channel=chosen, **words))


@trial.command()
@click.argument("name")
@label_option
@grams_option
@printers_option
@config_option
def label(
    name: str,
    labels: Sequence[Mapping[str, str]],
    grams: float | None,
    printers: int | None,
    config: Path,
) -> None:
    """Add labels to the trial NAME, or change them: the grams once the print was weighed."""
    settings = settings_or_exit(config)
    if name not in _read(settings, read_trials):
        fail(f'there is no trial "{name}"; `ventwright trial list` shows what there is')
    given = _labels(labels, grams, printers)
    if not given:
        fail("which label? give --label NAME=VALUE, --grams or --printers")
    click.echo(_asked(settings, "mark", name=name, phase="label", labels=given))


@trial.command()
@click.argument("name")
@click.option("--why", default="by hand", show_default=True, help="The reason, for the list.")
@config_option
def discard(name: str, why: str, config: Path) -> None:
    """Take the trial NAME out of all comparisons; what was recorded stays."""
    settings = settings_or_exit(config)
    if name not in _read(settings, read_trials):
        fail(f'there is no trial "{name}"; `ventwright trial list` shows what there is')
    click.echo(_asked(settings, "mark", name=name, phase="discard", why=why))


@trial.command("list")
@config_option
@json_option
def list_trials(config: Path, as_json: bool) -> None:
    """List all trials, discarded and unfinished ones too."""
    settings = settings_or_exit(config)
    found = list(_read(settings, read_trials).values())
    if as_json:
        told = [{**_plain(t), "state": t.state, "unusable": t.unusable} for t in found]
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    for line in list_lines(found):
        click.echo(line)


def _plain(found: Trial) -> dict[str, Any]:
    return {**asdict(found), "boots": sorted(found.boots)}


@trial.command()
@click.argument("name", required=False)
@click.option("--from", "begins", type=Moment(), help="Instead of NAME: when a print began,")
@click.option("--to", "ends", type=Moment(), help="and when it ended; nothing is recorded.")
@click.option("--background-for", type=Duration(), default="20 min", show_default=True)
@click.option("--decay-for", type=Duration(), default="60 min", show_default=True)
@channel_option
@click.option(
    "--loss-rate",
    type=click.FloatRange(min=0, min_open=True),
    help="All losses together with extraction off, 1/h, instead of the print's own decay.",
)
@click.option("--loss-rate-error", type=click.FloatRange(min=0), default=0.0, help="Its error.")
@click.option("--volume", type=click.FloatRange(min=0, min_open=True), help="Of the room, m³.")
@click.option("--volume-error", type=click.FloatRange(0, 1), help="As a share, such as 0.05.")
@click.option(
    "--in-room",
    type=(float, float),
    help="Scale to another room: its volume in m³ and loss rate in 1/h.",
)
@config_option
@json_option
def show(
    name: str | None,
    begins: int | None,
    ends: int | None,
    background_for: int,
    decay_for: int,
    channel: str | None,
    loss_rate: float | None,
    loss_rate_error: float,
    volume: float | None,
    volume_error: float | None,
    in_room: tuple[float, float] | None,
    config: Path,
    as_json: bool,
) -> None:
    """Show what the trial NAME came to; it is worked out anew from what was recorded."""
    settings = settings_or_exit(config)
    if in_room is not None and min(in_room) <= 0:
        fail("--in-room needs a volume and a loss rate above 0")
    wishes = Wishes(channel, loss_rate, loss_rate_error, volume, volume_error, in_room)
    if begins is not None and ends is not None and ends > begins:
        at = (begins - background_for, begins, ends, ends + decay_for)
        chosen = Trial("print", marks=dict(zip(_MARKS, at, strict=True)), past=True)
    elif begins is not None or ends is not None:
        fail("--from needs a later --to")
    else:
        chosen = _named(settings, name)
    made = _read(settings, lambda reader: analyse(reader, settings, [chosen], wishes))[0]
    if as_json:
        click.echo(json.dumps(finite(asdict(made)), ensure_ascii=False, indent=2))
        return
    for line in print_lines(made):
        click.echo(line if line.startswith(" ") else paragraph(line))


_MARKS = ("background", "print", "decay", "end")


def _named(settings: Settings, name: str | None) -> Trial:
    if name is None:
        fail("which trial? give its name, or --from and --to")
    there = _read(settings, read_trials)
    if name not in there:
        listed = ", ".join(there) or "none yet"
        fail(f'there is no trial "{name}"; there is: {listed}')
    if there[name].state != "whole":
        fail(f"{name} cannot be shown: {there[name].unusable}")
    return there[name]
