"""A real keeper process on emulated parts behind real pseudo-terminals."""

import fcntl
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ventwright.control.client import NotRunningError, ask
from ventwright.control.wire import spare
from ventwright.storage.reader import Reader, StoredEvent
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.emulated.pms import PmsTwin
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.relay_modbus import ModbusTwin

LIMIT_S = 90.0
"""How long to wait for anything, on however slow a machine."""

QUICK_START = """
import sys
from ventwright_drivers.serial.pms import Pms5003
from ventwright.keeper import watch
from ventwright.sampling import poller
from ventwright.storage import keeping
Pms5003.warm_up_ms = 0
poller.LONGEST_PAUSE_MS = 1000
watch.LOST_AFTER_MS = 1000
keeping.RETRY_MS = 300
from ventwright.keeper.__main__ import main
sys.exit(main())
"""

CONFIGURATION = """
[room]
name = "test room"
volume = 40

[store]
folder = "{store}"
commit_every = "1 s"

[relays.board]
model = "relay-modbus"
port = "{folder}/relay"
repeat_every = "1 s"

[extractors.hood]
relay = "board"
when_blind = "off"
minimum_on = "{minimum_on}"
minimum_off = "{minimum_off}"
run_on = "1 s"

[alarms.print]
channel = "bench.pm2_5"
compare = "mean"
setpoint = 20
deadband = 5
over = "3 s"
coverage = 0.5
on_delay = "0 s"
off_delay = "0 s"
"""


def until(condition: Callable[[], Any], what: str = "") -> Any:
    """Wait until something is true; returns it."""
    end = time.monotonic() + LIMIT_S
    while not (found := condition()):
        assert time.monotonic() < end, f"waited in vain {what}"
        threading.Event().wait(0.02)
    return found


def events(store: Path, kind: str = "") -> list[StoredEvent]:
    reader = Reader(store)
    found, after = [], 0
    while page := reader.events(after):
        found += page
        after = page[-1].id
    reader.close()
    return [event for event in found if kind in ("", event.kind)]


def changes(store: Path, kind: str) -> list[str]:
    return [event.body["change"] for event in events(store, kind)]


@contextmanager
def folder_in_memory() -> Iterator[None]:
    """Make the folder that the keeper's unit has systemd make; one test at a time has it."""
    folder = spare(Path("any")).parent
    with Path(tempfile.gettempdir(), "ventwright-keeper.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        ours = not folder.exists()
        folder.mkdir(exist_ok=True)
        yield
        if ours:
            shutil.rmtree(folder)


class House:
    """Two particle sensors, a relay, a configuration, and processes that are ended at the end."""

    def __init__(self, folder: Path, store: Path | None = None, **words: str) -> None:
        self.folder = folder
        self.store = store or folder / "store"
        self.air = {"bench": 5.0, "door": 5.0}
        self.clock = SystemClock()
        self.board = ModbusTwin()
        self.relay = PtyHost(self.board, folder / "relay")
        self.parts = {name: self._part(name) for name in self.air}
        for host in (self.relay, *self.parts.values()):
            host.start(self.clock)
        self.config = folder / "ventwright.toml"
        self._configure({"minimum_on": "0 s", "minimum_off": "0 s", **words})
        self.processes: list[subprocess.Popen[bytes]] = []

    def _part(self, name: str) -> PtyHost:
        return PtyHost(PmsTwin(lambda _: self.air[name]), self.folder / name)

    def _configure(self, words: dict[str, str]) -> None:
        text = CONFIGURATION.format(folder=self.folder, store=self.store, **words)
        for name in self.parts:
            text += f'\n[parts.{name}]\nmodel = "pms5003"\nport = "{self.folder}/{name}"\n'
        self.config.write_text(text)

    def run(self, *command: str, **environ: str) -> "subprocess.Popen[bytes]":
        with (self.folder / "output").open("ab") as output:
            process = subprocess.Popen(
                [sys.executable, *command], stderr=output, stdout=output, env=os.environ | environ
            )
        self.processes.append(process)
        return process

    def keeper(self, **environ: str) -> "subprocess.Popen[bytes]":
        """Start a keeper without warm-up and long pauses, and wait until it answers."""
        process = self.run("-c", QUICK_START, "--config", str(self.config), **environ)
        until(self.begun, self.output())
        return process

    def begun(self) -> bool:
        """Tell whether a keeper answers and has stored something, or has said that it cannot."""
        found = self.status()
        return bool(found and (found["store"]["last commit"] or found["store"]["failing"]))

    def output(self) -> str:
        return (self.folder / "output").read_text()

    def status(self) -> dict[str, Any] | None:
        try:
            return ask(self.store / "keeper.socket", "status", LIMIT_S)
        except NotRunningError:
            return None

    def told(self, kind: str, name: str, what: str = "state") -> Any:
        found = self.status()
        return found and found[kind][name][what]

    def command(self, *words: str, **environ: str) -> "subprocess.CompletedProcess[str]":
        """Run a command of `ventwright` on this house's configuration."""
        script = [sys.executable, "-c", "from ventwright.cli import main; main()", *words]
        script += ["--config", str(self.config)]
        given = os.environ | environ
        return subprocess.run(
            script, capture_output=True, text=True, check=False, timeout=LIMIT_S, env=given
        )

    def hold(self, on: bool) -> None:
        words = {"name": "hood", "on": on, "for": 3_600_000}
        answer = ask(self.store / "keeper.socket", "hold", LIMIT_S, **words)
        assert answer["done"], answer

    @property
    def contact(self) -> bool:
        return self.board.contacts[0]

    def reaches(self, on: bool) -> None:
        until(lambda: self.contact is on, f"for the contact to be {on}: {self.output()}")

    def make_safe(self, *configurations: Path) -> None:
        """Run the command that systemd runs after every end of the keeper."""
        given = map(str, configurations or (self.config,))
        command = [sys.executable, "-m", "ventwright.keeper.safe", *given]
        subprocess.run(command, check=True, capture_output=True)

    def close(self) -> None:
        for process in self.processes:
            process.send_signal(signal.SIGKILL)
            process.wait()
        for host in (self.relay, *self.parts.values()):
            host.close()
        self.clock.stop()
