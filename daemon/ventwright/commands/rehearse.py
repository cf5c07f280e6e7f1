"""`ventwright rehearse`: the whole daemon on emulated parts in a simulated room."""

import io
import json
import sys
from datetime import datetime
from pathlib import Path

import click

from ventwright.cli import BEGUN
from ventwright.rehearsal.conductor import Plan, Rehearsal, RehearsalError
from ventwright.rehearsal.configuration import DatabaseTarget
from ventwright.rehearsal.playbill import SCENARIOS
from ventwright.rehearsal.scenario import DEFAULT
from ventwright.rehearsal.summary import sentences
from ventwright.rehearsal.words import paragraph
from ventwright.settings.findings import holds_credentials

TAKES_S = 40
"""Real time that a scenario takes at the pace that is chosen without --pace, s."""


def _new_folder() -> Path:
    return Path(f"rehearsal-{datetime.now():%Y%m%d-%H%M%S}")


def _silence(_: str) -> None:
    """Say nothing."""


def _target(
    url: str | None, bucket: str, organisation: str, token: Path | None
) -> DatabaseTarget | None:
    if url is None:
        return None
    if holds_credentials(url):  # refused before it is written into the configuration
        raise click.BadParameter("--database holds a password or token: name a --token-file")
    if not url.startswith(("http://", "https://")):
        raise click.BadParameter(f'"{url}" does not begin with http:// or https://')
    return DatabaseTarget(url, bucket, organisation, token.absolute() if token else None)


@click.command()
@click.option(
    "--pace",
    type=click.FloatRange(min=0),
    help="Simulated seconds a real second, 0 for as fast as it goes; by default it takes 40 s.",
)
@click.option(
    "--seed", type=int, default=1, show_default=True, help="The same, the same decisions."
)
@click.option("--out", type=click.Path(path_type=Path), help="A new folder to keep everything in.")
@click.option(
    "--scenario", type=click.Choice(sorted(SCENARIOS)), default=DEFAULT.name, show_default=True
)
@click.option("--database", help="URL of a database with the version 2 write interface to push to.")
@click.option("--bucket", default="rehearsal", show_default=True, help="Its bucket.")
@click.option("--organisation", default="-", show_default=True, help="Its organisation.")
@click.option(
    "--token-file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="A file that holds its token.",
)
@click.option("--quiet", is_flag=True, help="Tell only the summary.")
@click.option("--json", "as_json", is_flag=True, help="Give the summary as JSON and nothing else.")
def rehearse(
    pace: float | None,
    seed: int,
    out: Path | None,
    scenario: str,
    database: str | None,
    bucket: str,
    organisation: str,
    token_file: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Try the whole daemon on emulated parts in a simulated room; no hardware is needed.

    Stop it early with Ctrl-C: what was seen until then is summed up.
    """
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a terminal without µ gets a ? for it
    played = SCENARIOS[scenario]
    chosen = played.duration / TAKES_S if pace is None else pace or None
    target = _target(database, bucket, organisation, token_file)
    plan = Plan(played, seed, chosen, out or _new_folder(), target)
    try:
        found = Rehearsal(plan, _silence if quiet or as_json else click.echo).hold()
    except RehearsalError as error:
        click.echo(str(error), err=True)
        sys.exit(1)
    click.get_current_context().meta[BEGUN] = True
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
        return
    for text in sentences(found, target is not None, str(plan.out)):
        click.echo("")
        click.echo(paragraph(text))
