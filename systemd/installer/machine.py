"""The machine that is installed on: its files, its commands, and what is told to the person.

Everything else in this package reaches the system through here, so that tests can give it another.
"""

import contextlib
import os
import shutil
import signal
import subprocess
from collections.abc import Mapping
from pathlib import Path


class Refusal(Exception):
    """The installation cannot go on; the text is one sentence for the person."""


_STOPS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
"""The ways in which a person, or a connection that breaks, stops an installation."""


class Machine:
    """This machine, or a folder that stands for it."""

    def __init__(self, root: Path = Path("/")) -> None:
        """Work below `root`."""
        self.root = root

    def at(self, path: str) -> Path:
        """Give the place of an absolute path."""
        return self.root / path.lstrip("/")

    def hear_stops(self, heard: bool = True) -> None:
        """Have each raise KeyboardInterrupt but what `nohup` keeps off; or none, here and below."""
        for number in _STOPS:
            if not heard:
                signal.signal(number, signal.SIG_IGN)
            elif signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, signal.default_int_handler)

    def say(self, text: str) -> None:
        """Tell the person, whose terminal may be gone."""
        with contextlib.suppress(OSError):
            print(text, flush=True)  # noqa: T201 - it talks to a terminal

    def run(
        self, *words: str | Path, env: Mapping[str, str] | None = None
    ) -> "subprocess.CompletedProcess[str]":
        """Run a command and take what it prints, both streams as one; never raises for failing."""
        command = [str(word) for word in words]
        given = {**os.environ, "LC_ALL": "C.UTF-8", **(env or {})}
        out = subprocess.STDOUT
        try:
            return subprocess.run(  # noqa: S603 - commands of this package
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=out,
                env=given,
                text=True,
                check=False,
            )
        except OSError as error:
            return subprocess.CompletedProcess(command, 127, f"{words[0]}: {error.strerror}")

    def must(self, why: str, *words: str | Path) -> str:
        """Run a command that has to succeed; raises Refusal with `why` and its last words."""
        done = self.run(*words)
        if done.returncode:
            raise Refusal(f"{why}: {last_words(done.stdout)}")
        return done.stdout

    def show(self, *words: str | Path) -> int:
        """Run a command whose words the person is to see; give its exit status."""
        command = [str(word) for word in words]
        return subprocess.run(command, stdin=subprocess.DEVNULL, check=False).returncode  # noqa: S603

    def has(self, command: str) -> bool:
        """Tell whether there is such a command."""
        return shutil.which(command) is not None

    def put(self, text: str, path: str, mode: int = 0o644) -> bool:
        """Write a file if it says something else so far, at one stroke; True if it did."""
        place = self.at(path)
        if place.is_file() and place.read_text() == text:
            return False
        place.parent.mkdir(parents=True, exist_ok=True)
        beside = place.with_name(f".{place.name}.new")
        beside.write_text(text)
        beside.chmod(mode)
        beside.replace(place)
        return True


def last_words(printed: str) -> str:
    """Give the last line with anything in it, without the word ERROR before it."""
    lines = [line.strip() for line in printed.splitlines() if line.strip()]
    return lines[-1].removeprefix("ERROR: ") if lines else "it said nothing"
