"""`ventwright trial past`, `label` and `discard`: marks made by hand, through the keeper."""

import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import Duration, Moment, config_option, fail, settings_or_exit
from ventwright.commands.trial_options import (
    all_labels,
    channel_option,
    chosen_channel,
    grams_option,
    label_option,
    printers_option,
    read_store,
    told_keeper,
)
from ventwright.settings.model import MINUTE
from ventwright.trials.marking import read_trials


@click.command()
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
    there = read_store(settings, read_trials).get(name)
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
    words: dict[str, Any] = {"labels": all_labels(labels, grams, printers), "at": at}
    chosen = chosen_channel(settings, name, channel)
    click.echo(told_keeper(settings, "mark", name=name, phase="past", channel=chosen, **words))


@click.command()
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
    if name not in read_store(settings, read_trials):
        fail(f'there is no trial "{name}"; `ventwright trial list` shows what there is')
    given = all_labels(labels, grams, printers)
    if not given:
        fail("which label? give --label NAME=VALUE, --grams or --printers")
    click.echo(told_keeper(settings, "mark", name=name, phase="label", labels=given))


@click.command()
@click.argument("name")
@click.option("--why", default="by hand", show_default=True, help="The reason, for the list.")
@config_option
def discard(name: str, why: str, config: Path) -> None:
    """Take the trial NAME out of all comparisons; what was recorded stays."""
    settings = settings_or_exit(config)
    if name not in read_store(settings, read_trials):
        fail(f'there is no trial "{name}"; `ventwright trial list` shows what there is')
    click.echo(told_keeper(settings, "mark", name=name, phase="discard", why=why))
