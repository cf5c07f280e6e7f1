"""A walk in the real room: the keeper's socket, its store, real time, the person at the terminal.

Knows the terminal; what is measured, and when, is the walk's.
"""

import select
import sys
import time
from collections.abc import Callable, Sequence
from typing import Any

import click

from ventwright.commissioning.levels import Levels, stored
from ventwright.commissioning.walk import StoppedError
from ventwright.control.client import ask
from ventwright.settings.model import Settings

_MINUTE_S = 60


class Here:
    """The Place of a walk that somebody at a terminal takes."""

    def __init__(self, settings: Settings, to_errors: bool) -> None:
        """Walk in the room of these settings; talk on standard error if the answer is JSON."""
        self._settings = settings
        self._to_errors = to_errors

    def ask(self, verb: str, **words: Any) -> dict[str, Any]:
        """Ask the keeper; raises NotRunningError."""
        return ask(self._settings.socket, verb, **words)

    def levels(self, channels: Sequence[str], begins: int, ends: int) -> dict[str, Levels]:
        """Read the store; raises sqlite3.Error."""
        return stored(self._settings.store.folder, self._settings, channels, begins, ends)

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(seconds)

    def say(self, text: str) -> None:
        """Print."""
        click.echo(text, err=self._to_errors)

    def confirm(self, text: str, meanwhile: Callable[[], None]) -> None:
        """Print, and wait for a line."""
        self.say(text)
        self.say("   [Enter, when that is done]")
        while not self._entered():
            meanwhile()

    def _entered(self) -> bool:
        ready, _, _ = select.select([sys.stdin], [], [], _MINUTE_S)
        if not ready:
            return False
        if not sys.stdin.readline():
            raise StoppedError(
                "Nobody is there to say that the source is off: the walk needs a terminal. "
                "Without one, `ventwright commission --past` draws on what was recorded."
            )
        return True
