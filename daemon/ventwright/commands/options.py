"""Options that several commands share, and how a refused configuration is told."""

import sys
from datetime import datetime
from math import isfinite
from pathlib import Path
from typing import Any, NoReturn

import click

from ventwright.settings.durations import parse_duration
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.model import Settings
from ventwright.settings.plan import read_settings

DEFAULT = Path("/etc/ventwright/ventwright.toml")

config_option = click.option(
    "--config",
    "config",
    type=click.Path(path_type=Path),
    envvar="VENTWRIGHT_CONFIG",
    default=DEFAULT,
    show_default=True,
    help="The configuration file.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Answer in JSON.")


class Duration(click.ParamType[int]):
    """A length of time such as "2 h", read as ms."""

    name = "duration"

    def convert(self, value: Any, param: Any, ctx: Any) -> int:
        """Read the text; fails with what is allowed."""
        try:
            return parse_duration(value)
        except ValueError as error:
            self.fail(f'"{value}" is no length of time; {error}', param, ctx)


class Finite(click.FloatRange):
    """A number within a range, which neither "nan" nor "inf" is."""

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """Read the text; fails with what is allowed."""
        found = float(super().convert(value, param, ctx))
        if not isfinite(found):
            self.fail(f"{value} is no finite number", param, ctx)
        return found


class Moment(click.ParamType[int]):
    """A time such as "2026-05-14T14:20", local unless it says otherwise, read as Unix ms."""

    name = "time"

    def convert(self, value: Any, param: Any, ctx: Any) -> int:
        """Read the text; fails with what is allowed."""
        try:
            return round(datetime.fromisoformat(value).timestamp() * 1000)
        except (ValueError, OverflowError, OSError):
            self.fail(f'"{value}" is no time such as 2026-05-14T14:20', param, ctx)


def settings_or_exit(path: Path) -> Settings:
    """Read the configuration; on mistakes tell them all, one sentence each, and exit with 2."""
    try:
        return read_settings(path)
    except ConfigurationError as error:
        click.echo(str(error), err=True)
        sys.exit(2)


def fail(text: str) -> NoReturn:
    """End with one clear sentence on standard error and exit status 1."""
    click.echo(text, err=True)
    sys.exit(1)
