"""`ventwright replay`: recorded data through the same core, with any configuration."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import DEFAULT, fail, json_option, settings_or_exit
from ventwright.replaying.errors import ReplayError
from ventwright.replaying.kinds import kinds_of
from ventwright.replaying.outcome import Outcome, recorded, replay_csv, replay_store
from ventwright.replaying.recorded import RecordedLog
from ventwright.replaying.rules import shipped_rules
from ventwright.replaying.telling import differences_told, outcome_told, recorded_told
from ventwright.replaying.words import (
    AIR_IS_AS_IT_WAS,
    air_lines,
    difference_lines,
    lines,
    log_lines,
    recorded_lines,
)
from ventwright.settings.shipped import EXAMPLE
from ventwright.storage.schema import store_path

SHIPPED = f"the alarms and extractors of the shipped config/{EXAMPLE}"


_UNWATCHED = (
    "The shipped alarms watch pm2_5, and no column has it: write an alarm on one of the columns "
    "into a configuration and give it with --config."
)


def _csv(log: Path, config: Path | None) -> Outcome:
    recorded_log = RecordedLog(log)
    if config is None:
        outcome = replay_csv(recorded_log, shipped_rules(recorded_log.columns), {}, SHIPPED)
        outcome.notes.insert(0, "No configuration was given; see --config.")
        if not outcome.settings.alarms:
            outcome.notes.append(_UNWATCHED)
        return outcome
    settings = settings_or_exit(config)
    return replay_csv(recorded_log, settings, kinds_of(settings), str(config))


def _store(log: Path | None, config: Path) -> Outcome:
    settings = settings_or_exit(config)
    folder = log or settings.store.folder
    return replay_store(folder, settings, kinds_of(settings), str(config))


def _replayed(log: Path | None, config: Path | None) -> Outcome:
    if log is not None and not log.is_dir():
        return _csv(log, config)
    return _store(log, config or DEFAULT)


def _told(outcome: Outcome, taken: list[Any] | None, other: Outcome | None) -> Iterator[str]:
    yield from log_lines(outcome)
    yield from lines(outcome)
    if taken is not None:
        yield from recorded_lines(outcome, taken)
    if other is not None:
        yield from lines(other)
        yield from difference_lines(outcome, other)
    yield "The air:"
    yield from air_lines(outcome)
    yield AIR_IS_AS_IT_WAS


def _json(outcome: Outcome, taken: list[Any] | None, other: Outcome | None) -> dict[str, Any]:
    return {
        "replayed": [outcome_told(one) for one in (outcome, other) if one is not None],
        "recorded": None if taken is None else recorded_told(outcome, taken),
        "differences": None if other is None else differences_told(outcome, other),
    }


@click.command()
@click.argument("log", type=click.Path(path_type=Path, exists=True), required=False)
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    envvar="VENTWRIGHT_CONFIG",
    help=f"The configuration to replay with; for a store {DEFAULT} if not given.",
)
@click.option(
    "--against", type=click.Path(path_type=Path), help="Another configuration to compare with."
)
@json_option
def replay(log: Path | None, config: Path | None, against: Path | None, as_json: bool) -> None:
    """Tell what would have happened: recorded data through the same rules, or through others.

    LOG is the folder of a store (the configured one if not given), or a CSV with a column `time`
    in ISO 8601 and columns named part.quantity, such as bench.pm2_5 in µg/m³. No port is touched
    and nothing is written.
    """
    if log is not None and log.name == store_path(log.parent).name:
        log = log.parent
    try:
        outcome = _replayed(log, config)
        folder = log or outcome.settings.store.folder
        other = None if against is None else _replayed(folder, against)
    except ReplayError as error:
        fail(str(error))
    taken = recorded(folder) if folder.is_dir() else None
    if as_json:
        json.dump(_json(outcome, taken, other), sys.stdout, ensure_ascii=False, indent=2)
        click.echo()
        return
    for line in _told(outcome, taken, other):
        click.echo(line)
