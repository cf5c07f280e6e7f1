"""kill -9 at random instants: whatever was acknowledged is there, and the file is sound."""

import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

from ventwright.storage.reader import Reader
from ventwright.storage.schema import store_path

KILLS = 30
PROGRAM = Path(__file__).with_name("storing.py")


def acknowledged(folder: Path, first: int, wait_s: float) -> list[int]:
    """Let a writer run until it has acknowledged something and a while longer, then kill it."""
    command = [sys.executable, str(PROGRAM), str(folder), str(first)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        head = process.stdout.readline()
        time.sleep(wait_s)
        process.send_signal(signal.SIGKILL)
        lines = head + process.stdout.read()
    return [int(line) for line in lines.split(b"\n")[:-1]]


def stored(folder: Path) -> tuple[list[int], list[int], int]:
    reader = Reader(folder)
    events, after = [], 0
    while found := reader.events(after):
        events += [event.body["n"] for event in found]
        after = found[-1].id
    samples = [s for block in reader.all_blocks() for s in block.open().columns[0].steps]
    state = reader.state("core")["n"]
    reader.close()
    return events, [s or 0 for s in samples], state


def test_nothing_acknowledged_is_missing_after_thirty_kills(tmp_path: Path) -> None:
    dice, first = random.Random(1), 0
    for _ in range(KILLS):
        said = acknowledged(tmp_path, first, dice.uniform(0, 0.03))
        events, samples, state = stored(tmp_path)
        assert events == samples == list(range(len(events)))
        assert state == events[-1] >= said[-1]
        first = len(events)
        db = sqlite3.connect(store_path(tmp_path))
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        db.close()
