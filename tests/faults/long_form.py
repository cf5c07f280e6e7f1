"""The long forms: 300 SIGKILLs and 300 power cuts. `cd tests && python -m faults.long_form`.

Prints a line of figures for each. The short forms of both are tests.
"""

import random
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

import pytest

from faults import test_killed_writer as killing
from faults import test_power_cut as cutting
from faults.powercut import Disk, RecordingVfs
from ventwright.storage import schema

TIMES = 300


def kills(folder: Path, times: int) -> str:
    """Kill a writer at random instants; tell what was acknowledged and what is there."""
    killing.KILLS = times
    began = time.monotonic()
    killing.test_nothing_acknowledged_is_missing_after_thirty_kills(folder)
    events, samples, _ = killing.stored(folder)
    took = time.monotonic() - began
    return (
        f"{times} SIGKILLs: {len(events)} events and {len(samples)} readings stored, none that was "
        f"acknowledged is missing, none is there twice; integrity_check ok "
        f"after each ({took:.0f} s)"
    )


def cuts(folder: Path, times: int) -> str:
    """Cut the power of a recorded disk; tell what was committed and what is there."""
    committed, began, torn = 0, time.monotonic(), 0
    for seed in range(times):
        disk, dice = Disk(), random.Random(10_000 + seed)
        vfs = RecordingVfs("power-cut", disk)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(
                schema.sqlite3,
                "connect",
                lambda path, **_: cutting.Connection(str(path), "power-cut"),
            )
            store, count = cutting.commit_some(folder / f"store-{seed}", dice)
            if dice.random() < 0.5:
                cutting.tear(store, count)
                torn += 1
            disk.cut(folder / f"after-{seed}", dice)
            store.close()
        vfs.unregister()
        found = cutting.after_the_cut(folder / f"after-{seed}")
        assert found == ("ok", list(range(count)), count, count - 1), (seed, found)
        committed += count
    took = time.monotonic() - began
    return (
        f"{times} power cuts ({torn} in the middle of a commit): {committed} commits acknowledged, "
        f"all of them there, integrity_check ok {times} times ({took:.0f} s; SQLite "
        f"{sqlite3.sqlite_version})"
    )


def main() -> int:
    """Run both."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else TIMES
    for form in (kills, cuts):
        with tempfile.TemporaryDirectory() as folder:
            print(form(Path(folder), times), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
