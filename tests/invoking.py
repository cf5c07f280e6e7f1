"""Calls a command of the console script as a person would, and takes what it says."""

import json
from typing import Any

import click
from click.testing import CliRunner


def said_by(command: click.Command, *words: str, status: int = 0) -> str:
    found = CliRunner().invoke(command, list(words))
    assert found.exit_code == status, (found.output, found.exception)
    return found.output


def json_of(command: click.Command, *words: str) -> Any:
    return json.loads(said_by(command, *words))
