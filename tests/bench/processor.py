"""CPU per reading, decode to stored: the keeper beside the bare script, same bytes, same run."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from bench.load import PARTS, READINGS_A_SECOND, Wire, air, frame, toml, walk

BARE = Path(__file__).with_name("bare.py")
WARM_UP_S = 8


def cpu_ns(pid: int) -> int:
    """CPU time of a process, all threads, ns."""
    tasks = Path(f"/proc/{pid}/task")
    return sum(int((task / "schedstat").read_text().split()[0]) for task in tasks.iterdir())


def resident_mb(pid: int) -> float:
    """Resident memory of a process, MB."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    raise AssertionError("no VmRSS")


def start_keeper(config: Path, more: dict[str, str] | None = None) -> "subprocess.Popen[bytes]":
    """Start the real keeper."""
    command = [sys.executable, "-m", "ventwright.keeper", "--config", str(config)]
    return subprocess.Popen(command, env={**os.environ, **(more or {})})


def feed_both(wires: dict[str, list[Wire]], seconds: int) -> None:
    """Send the same frames to both sets of wires, a frame a part and second, parts out of step."""
    noise, due = walk(1), time.monotonic()
    for _ in range(seconds):
        for pair in zip(*wires.values(), strict=True):
            data = frame(air(noise))
            for wire in pair:
                wire.send(data)
            due += 1 / len(PARTS)
            time.sleep(max(0.0, due - time.monotonic()))


def measure(folder: Path, seconds: int) -> dict[str, float]:
    """Run both for some seconds; µs of CPU a reading, their ratio, and the keeper's memory."""
    wires = {who: [Wire() for _ in PARTS] for who in ("keeper", "bare")}
    ports = dict(zip(PARTS, (w.path for w in wires["keeper"]), strict=True))
    config = folder / "bench.toml"
    config.write_text(toml(folder / "store", ports))
    keeper = start_keeper(config)
    paths = [w.path for w in wires["bare"]]
    bare = subprocess.Popen([sys.executable, str(BARE), str(folder / "bare.sqlite"), *paths])
    try:
        feed_both(wires, WARM_UP_S)
        before = cpu_ns(keeper.pid), cpu_ns(bare.pid)
        feed_both(wires, seconds)
        spent = [cpu_ns(p.pid) - b for p, b in zip((keeper, bare), before, strict=True)]
        memory = resident_mb(keeper.pid)
    finally:
        for process in (keeper, bare):
            process.send_signal(signal.SIGTERM)
            process.wait(20)
    for wire in wires["keeper"] + wires["bare"]:
        wire.close()
    each = [ns / 1000 / (seconds * READINGS_A_SECOND) for ns in spent]
    return {"keeper": each[0], "bare": each[1], "ratio": each[0] / each[1], "memory": memory}
