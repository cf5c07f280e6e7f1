"""A folder that stands for a machine, and commands that are noted instead of run."""

import os
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path

from installer.machine import Machine

Answer = tuple[int, str]
Reply = Callable[[list[str]], Answer | None]

RELEASE = 'ID=debian\nVERSION_ID="12"\n'


class StandIn(Machine):
    """A Debian 12 with systemd on which every command succeeds, unless `reply` says otherwise."""

    def __init__(self, root: Path, reply: Reply = lambda _words: None) -> None:
        super().__init__(root)
        self.reply = reply
        self.ran: list[list[str]] = []
        self.told: list[str] = []
        self.up = False
        """Whether both services run."""
        for folder in ("etc", "opt", "run/systemd/system", "var/lib", "proc/device-tree", "dev"):
            (root / folder).mkdir(parents=True, exist_ok=True)
        self.at("/etc/os-release").write_text(RELEASE)

    def hear_stops(self, heard: bool = True) -> None:
        self.ran.append(["hear stops" if heard else "hear no stops"])

    def say(self, text: str) -> None:
        self.told.append(text)

    def run(
        self, *words: str | Path, env: Mapping[str, str] | None = None
    ) -> "subprocess.CompletedProcess[str]":
        command = [str(word) for word in words]
        self.ran.append(command)
        status, said = self.reply(command) or self._done(command)
        return subprocess.CompletedProcess(command, status, said)

    def show(self, *words: str | Path) -> int:
        return self.run(*words).returncode

    def has(self, command: str) -> bool:
        return (self.root / "usr/bin" / command).exists()

    def _done(self, command: list[str]) -> Answer:
        if command[:2] == ["systemctl", "is-active"]:
            return 0 if self.up else 3, ""
        if command[0] == "systemctl" and command[1] in ("start", "stop"):
            self.up = command[1] == "start"
        if command[1:3] == ["-m", "venv"]:
            library = Path(command[3]) / "lib/python3.11/site-packages"
            library.mkdir(parents=True)
        if command[0] == "systemd-tmpfiles":
            for folder in ("etc/ventwright", "var/lib/ventwright"):
                (self.root / folder).mkdir(parents=True, exist_ok=True)
        if "VERSION" in command[-1]:
            return 0, "2"
        if "find" in command:
            os.truncate(command[-1], 0)
        return 0, ""

    def did(self, *words: str) -> int:
        """Count the commands that hold all these words."""
        return sum(set(words) <= {Path(part).name for part in command} for command in self.ran)
