"""`ventwright compare`: conditions side by side, from trials or from a table of repeats."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import Finite, config_option, fail, json_option, settings_or_exit
from ventwright.commands.trial_options import read_store
from ventwright.contrasts.compare import Question
from ventwright.contrasts.compare import compare as compared
from ventwright.contrasts.numbers import told
from ventwright.contrasts.of_prints import TITLES, repeats, usual_figure, usual_labels
from ventwright.contrasts.sample import CompareError, Sample
from ventwright.contrasts.several import METHODS
from ventwright.contrasts.table import read_table
from ventwright.contrasts.words import lines
from ventwright.rehearsal.words import paragraph
from ventwright.settings.model import Settings
from ventwright.trials.analyse import Wishes, analysed
from ventwright.trials.cautions import CALIBRATION, ULTRAFINE
from ventwright.trials.figures import FIGURES, Comparison, Print
from ventwright.trials.marking import read_trials

Asked = tuple[Sequence[Sample], Question]


@click.command()
@click.argument("trials", nargs=-1)
@click.option("--by", multiple=True, help="A label that makes the condition; may be repeated.")
@click.option("--figure", type=click.Choice(FIGURES), help="What is compared; per gram if it can.")
@click.option("--channel", help="Another channel than the one the trials were marked with.")
@click.option(
    "--csv",
    "table",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Instead of trials: repeats from a file; condition, value, batch or a column each.",
)
@click.option(
    "--scale",
    type=click.Choice(["log", "linear"]),
    default="log",
    show_default=True,
    help="Ratios or differences.",
)
@click.option("--method", type=click.Choice(METHODS), default="usual", show_default=True)
@click.option("--reference", help="Compare all others with this condition only.")
@click.option("--confidence", type=Finite(0.5, 0.999), default=0.95, show_default=True)
@click.option("--spread", type=Finite(), help="Plan with this spread (a GSD) instead.")
@config_option
@json_option
def compare(
    trials: Sequence[str],
    by: Sequence[str],
    figure: str | None,
    channel: str | None,
    table: Path | None,
    scale: str,
    method: str,
    reference: str | None,
    confidence: float,
    spread: float | None,
    config: Path,
    as_json: bool,
) -> None:
    """Compare the conditions of test prints: which emits more, and could these prints tell?

    TRIALS: names of trials; all whole ones unless some are named. Conditions are made of the
    labels in which the trials differ, or of those named by --by.
    """
    ways = {"log": scale == "log", "method": method, "reference": reference}
    plan: dict[str, Any] = {**ways, "confidence": confidence, "spread": _spread(spread, scale)}
    try:
        if table is not None:
            samples: Sequence[Sample] = read_table(table)
            question = Question("value", "value", "", timed=False, **plan)
        else:
            settings = settings_or_exit(config)
            prints = prints_of(settings, trials, channel)
            samples, question = asked(prints, by, figure, unused(settings, trials), **plan)
        found = compared(samples, question)
    except CompareError as error:
        fail(str(error))
    if as_json:
        click.echo(json.dumps(told(found, samples), ensure_ascii=False, indent=2))
        return
    _show(found, table is None)


def _spread(spread: float | None, scale: str) -> float | None:
    least = 1.0 if scale == "log" else 0.0
    if spread is not None and spread <= least:
        fail(f"--spread {spread:g} must be above {least:g}: a factor such as 1.5 on the log scale")
    return spread


def prints_of(settings: Settings, trials: Sequence[str], channel: str | None) -> list[Print]:
    """Analyse the trials that are named, or all; ends with a sentence if there are none."""
    wishes = Wishes(channel=channel)
    found = read_store(settings, lambda reader: analysed(reader, settings, wishes))
    there = {made.name for made in found}
    if missing := [name for name in trials if name not in there]:
        fail(f'there is no whole trial "{missing[0]}"; `ventwright trial list` shows what there is')
    if not found:
        fail("there is no whole trial yet; `ventwright trial guide` makes one")
    return [made for made in found if not trials or made.name in trials]


def unused(settings: Settings, trials: Sequence[str]) -> dict[str, str]:
    """Tell which trials are not used, and why, unless some were named."""
    if trials:
        return {}
    marked = read_store(settings, read_trials).values()
    return {trial.name: trial.unusable for trial in marked if trial.unusable}


def asked(
    prints: Sequence[Print],
    by: Sequence[str],
    figure: str | None,
    not_used: Mapping[str, str] | None = None,
    **plan: Any,
) -> Asked:
    """Make the question that belongs to analysed prints; raises CompareError.

    `not_used`: trials that were not analysed, and why.
    """
    chosen, labels = figure or usual_figure(prints), tuple(by) or usual_labels(prints)
    samples, left_out = repeats(prints, chosen, labels)
    unit = getattr(prints[0], chosen).unit
    title = f"{prints[0].title} {TITLES[chosen]}"
    given = Question(
        chosen, title, unit, by=labels, left_out={**(not_used or {}), **left_out}, **plan
    )
    return samples, given


def _show(found: Comparison, of_prints: bool) -> None:
    for line in lines(found):
        click.echo(line if line.startswith(" ") else paragraph(line))
    if of_prints:
        click.echo("")
        click.echo(paragraph(f"{ULTRAFINE} {CALIBRATION}"))
