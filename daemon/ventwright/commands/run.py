"""`ventwright run`: keeper and courier in the foreground, each restarted if it dies.

Under systemd the two run as units of their own, and this command is not used.
"""

import ctypes
import io
import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import click

from ventwright.commands.following import Follower
from ventwright.commands.options import config_option, settings_or_exit
from ventwright.commands.ready import nobody, refuse_secrets, refuse_store
from ventwright.keeper.alone import NOT_ALONE
from ventwright.keeper.safe import make_safe
from ventwright.settings.model import Settings
from ventwright.wires import machine_wiring
from ventwright_drivers.clock import SystemClock

RESTART_S = 5.0
LOOK_S = 0.2
STOP_S = 15.0
_PR_SET_PDEATHSIG = 1


def _end_with_parent() -> None:
    """Have the kernel stop this child when the parent dies, so that no keeper is left alone."""
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


class Child:
    """A process of the daemon that is to be alive."""

    def __init__(self, name: str, config: Path) -> None:
        """Describe the child; it is not started yet."""
        self.name = name
        self._command = [sys.executable, "-m", f"ventwright.{name}", "--config", str(config)]
        self._process: subprocess.Popen[bytes] | None = None
        self._start_at = 0.0

    def look(self) -> bool:
        """Start it if it is time; True if it has just died."""
        if self._process is None:
            if time.monotonic() >= self._start_at:
                self._start()
            return False
        status = self._process.poll()
        if status is None:
            return False
        if status == NOT_ALONE:
            sys.exit(1)  # it has told why
        click.echo(
            f"the {self.name} ended with status {status}; again in {RESTART_S:g} s", err=True
        )
        self._process, self._start_at = None, time.monotonic() + RESTART_S
        return True

    def _start(self) -> None:
        self._process = subprocess.Popen(  # noqa: S603 - our own module
            self._command,
            start_new_session=True,
            preexec_fn=_end_with_parent,
        )

    def stop(self) -> None:
        """Stop it in good order, or by force after a while."""
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


def _make_safe(settings: Settings) -> None:
    make_safe(settings, machine_wiring(SystemClock()), lambda line: click.echo(line, err=True))


def _children(settings: Settings, config: Path) -> list[Child]:
    names = ["keeper"] if not (settings.database or settings.phone) else ["keeper", "courier"]
    return [Child(name, config) for name in names]


def _greet(settings: Settings) -> None:
    parts = ", ".join(f"{name} ({entry.model})" for name, entry in settings.parts.items())
    click.echo(f"Watching {settings.room.name}: {parts}.")
    if reason := nobody(settings, os.environ):
        click.echo(f"Nobody is told: {reason}.")
    if not settings.database:
        click.echo("Nothing is pushed: the configuration has no [database].")
    click.echo(f"Readings are kept in {settings.store.folder}. Stop with Ctrl-C.")


@click.command()
@config_option
def run(config: Path) -> None:
    """Watch this room until stopped: sample, judge, extract, store, tell and push."""
    settings = settings_or_exit(config)
    refuse_secrets(settings, os.environ)
    refuse_store(settings)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a terminal without µ gets a ? for it
    told = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: told.set())
    _greet(settings)
    children = _children(settings, config)
    with closing(Follower(settings.store.folder, click.echo)) as follower:
        while not told.is_set():
            for child in children:
                if child.look() and child.name == "keeper":
                    _make_safe(settings)
            follower.look()
            time.sleep(LOOK_S)
    for child in reversed(children):
        child.stop()
    _make_safe(settings)
