"""What the commands of `ventwright trial` share: labels, and reading trials from the store."""

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

import click

from ventwright.commands.options import Finite, fail
from ventwright.control.client import NotRunningError, ask
from ventwright.settings.model import Settings
from ventwright.storage.reader import Reader
from ventwright.trials.analyse import TrialError, Wishes, channel_of
from ventwright.trials.marking import Trial

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
    "--grams", type=Finite(1e-3, 1e6), help="Filament printed, all printers."
)
printers_option = click.option(
    "--printers", type=click.IntRange(1, 100), help="How many printers ran; 1 unless given."
)
channel_option = click.option("--channel", help="What is measured; the first pm2_5 unless given.")


def all_labels(
    labels: Sequence[Mapping[str, str]], grams: float | None, printers: int | None
) -> dict[str, str]:
    """Put the labels together with the numbers that have options of their own."""
    found = {name: value for label in labels for name, value in label.items()}
    if grams is not None:
        found["grams"] = f"{grams:g}"
    if printers is not None:
        found["printers"] = str(printers)
    return found


def chosen_channel(settings: Settings, name: str, channel: str | None) -> str:
    """Choose the channel of a new trial, or end with a sentence."""
    try:
        return channel_of(settings, Trial(name), Wishes(channel=channel))
    except TrialError as error:
        fail(str(error))


def read_store(settings: Settings, take: Callable[[Reader], Found]) -> Found:
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


def told_keeper(settings: Settings, verb: str, **words: Any) -> str:
    """Ask the keeper, or end with its sentence."""
    try:
        said = ask(settings.socket, verb, **words)
    except NotRunningError as error:
        fail(str(error))
    if not said["done"]:
        fail(f"The keeper refused: {said['says']}")
    return str(said["says"])
