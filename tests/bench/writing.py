"""Bytes that reach the device for storing the reference load, and the time until ready."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

from bench.load import PARTS, Wire, toml
from bench.playing import write_store
from bench.processor import resident_mb, start_keeper
from ventwright_drivers.clock import SystemClock, boot_id

HOUR_S = 3600
DAY_S = 24 * HOUR_S

_HOUR = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from bench.playing import write_store
write_store(Path({folder!r}), {seconds})
"""


def device_bytes(folder: Path) -> int:
    """Count the bytes that the device under a folder was given up to now, whole sectors."""
    number = folder.stat().st_dev
    name = f"{os.major(number):4d} {os.minor(number):7d} "
    for line in Path("/proc/diskstats").read_text().splitlines():
        if line.startswith(name):
            return 512 * int(line.split()[9])
    return 0


def megabytes_a_day(folder: Path, hours: int) -> tuple[float, float]:
    """Store some hours in one go; MB a day by the process's count, and by the whole device's.

    The second counts the filesystem's journal, and whatever else the machine writes meanwhile.
    """
    tests = str(Path(__file__).parents[1])
    code = _HOUR.format(tests=tests, folder=str(folder / "hours"), seconds=hours * HOUR_S)
    code += "print(open('/proc/self/io').read())"
    os.sync()
    before = device_bytes(folder)
    told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    os.sync()
    device = device_bytes(folder) - before
    own = next(int(x.split()[1]) for x in told.stdout.splitlines() if x.startswith("write_bytes"))
    return own / 1e6 / hours * 24, device / 1e6 / hours * 24


def ready_after(folder: Path) -> tuple[float, float]:
    """Start the keeper on a day of this boot's readings; s until READY=1, and its memory, MB."""
    now = SystemClock().now()
    write_store(folder / "day", DAY_S - 60, boot_id(), now - DAY_S * 1000)
    wires = [Wire() for _ in PARTS]
    config = folder / "ready.toml"
    config.write_text(toml(folder / "day", dict(zip(PARTS, (w.path for w in wires), strict=True))))
    address = str(folder / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as notify:
        notify.bind(address)
        notify.settimeout(60)
        began = time.monotonic()
        keeper = start_keeper(config, {"NOTIFY_SOCKET": address})
        try:
            while b"READY=1" not in notify.recv(1000):
                pass
            took = time.monotonic() - began
            memory = resident_mb(keeper.pid)
        finally:
            keeper.send_signal(signal.SIGTERM)
            keeper.wait(20)
    for wire in wires:
        wire.close()
    return took, memory
