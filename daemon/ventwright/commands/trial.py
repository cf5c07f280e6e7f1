"""`ventwright trial`: guide a test print, mark one that happened, list them, show them."""

import json
from dataclasses import asdict
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
from ventwright.commands.trial_guide import guide
from ventwright.commands.trial_marks import discard, label, past
from ventwright.commands.trial_options import channel_option, read_store
from ventwright.commands.trial_table import table
from ventwright.contrasts.numbers import finite
from ventwright.rehearsal.words import paragraph
from ventwright.settings.model import Settings
from ventwright.trials.analyse import Wishes, analyse
from ventwright.trials.marking import Trial, read_trials
from ventwright.trials.rates import FASTEST
from ventwright.trials.words import list_lines, print_lines


@click.group()
def trial() -> None:
    """Make test prints under named conditions, and tell what they emitted.

    Repeat every condition: one print says nothing of how the next would come out. `ventwright
    compare` compares the conditions.
    """


@click.command("list")
@config_option
@json_option
def list_trials(config: Path, as_json: bool) -> None:
    """List all trials, discarded and unfinished ones too."""
    settings = settings_or_exit(config)
    found = list(read_store(settings, read_trials).values())
    if as_json:
        told = [{**_plain(t), "state": t.state, "unusable": t.unusable} for t in found]
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    for line in list_lines(found):
        click.echo(line)


def _plain(found: Trial) -> dict[str, Any]:
    return {**asdict(found), "boots": sorted(found.boots)}


@click.command()
@click.argument("name", required=False)
@click.option("--from", "begins", type=Moment(), help="Instead of NAME: when a print began,")
@click.option("--to", "ends", type=Moment(), help="and when it ended; nothing is recorded.")
@click.option("--background-for", type=Duration(), default="20 min", show_default=True)
@click.option("--decay-for", type=Duration(), default="60 min", show_default=True)
@channel_option
@click.option(
    "--loss-rate",
    type=Finite(min=0, max=FASTEST, min_open=True),
    help="All losses together with extraction off, 1/h, instead of the print's own decay.",
)
@click.option("--loss-rate-error", type=Finite(0, FASTEST), default=0.0, help="Its error.")
@click.option("--volume", type=Finite(1e-6, 1e9), help="Of the room, m³.")
@click.option("--volume-error", type=Finite(0, 1), help="As a share, such as 0.05.")
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
    made = read_store(settings, lambda reader: analyse(reader, settings, [chosen], wishes))[0]
    if as_json:
        click.echo(json.dumps(finite(asdict(made)), ensure_ascii=False, indent=2))
        return
    for line in print_lines(made):
        click.echo(line if line.startswith(" ") else paragraph(line))


_MARKS = ("background", "print", "decay", "end")


def _named(settings: Settings, name: str | None) -> Trial:
    if name is None:
        fail("which trial? give its name, or --from and --to")
    there = read_store(settings, read_trials)
    if name not in there:
        listed = ", ".join(there) or "none yet"
        fail(f'there is no trial "{name}"; there is: {listed}')
    if there[name].state != "whole":
        fail(f"{name} cannot be shown: {there[name].unusable}")
    return there[name]


for _command in (guide, past, label, discard, list_trials, show, table):
    trial.add_command(_command)
