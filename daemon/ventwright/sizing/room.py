"""What is known of the room already: from the configuration, its store and analysed trials.

The one place where sizing looks at files; everything else takes figures.
"""

from pathlib import Path
from typing import NamedTuple

from ventwright.reporting.happenings import happenings
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.model import Settings
from ventwright.settings.plan import read_settings
from ventwright.sizing.given import GivenError, Source
from ventwright.sizing.task import Range
from ventwright.storage.reader import Reader, is_store

_EVER = 1 << 62


class Known(NamedTuple):
    """A room."""

    volume: float
    """m³"""
    loss_rate: float | None
    """1/h, with extraction off; None where it was never measured."""
    mixing: float
    settings: Settings | None = None


def known(config: Path) -> Known:
    """Read a configuration, and the newest commissioning; raises GivenError, sqlite3.Error."""
    try:
        settings = read_settings(config)
    except ConfigurationError as error:
        raise GivenError(str(error)) from error
    return Known(settings.room.volume, _natural(settings), settings.room.mixing, settings)


def _natural(settings: Settings) -> float | None:
    if not is_store(settings.store.folder):
        return None
    reader = Reader(settings.store.folder)
    try:
        found = happenings(reader, _EVER).commissioned
    finally:
        reader.close()
    return float(found[-1].body["natural"]) if found else None


def from_trial(settings: Settings, name: str) -> Source:
    """Take the emission of an analysed trial, its interval; raises GivenError, sqlite3.Error."""
    from ventwright.trials.analyse import analysed

    if not is_store(settings.store.folder):
        raise GivenError(f"There is no store in {settings.store.folder}, so there is no trial.")
    reader = Reader(settings.store.folder)
    try:
        found = {one.name: one for one in analysed(reader, settings)}
    finally:
        reader.close()
    if name not in found:
        there = ", ".join(found) or "none"
        raise GivenError(f"There is no analysed trial {name}; trials here: {there}.")
    figure = found[name].per_printer
    if not figure.known or found[name].rate_unit != "µg/h":
        why = figure.why or "its channel is no mass"
        raise GivenError(f"Trial {name} gives no emission in µg/h: {why}.")
    value = figure.value or 0.0
    emission = Range(max(0.0, figure.low or value), figure.high or value)
    return Source(emission, "µg", f"trial {name}, {found[name].channel}, its 95 % interval")
