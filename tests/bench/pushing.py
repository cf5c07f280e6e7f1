"""Push after an outage: a store full of readings into a real database server on loopback."""

import os
import subprocess
import sys
from pathlib import Path

from bench.load import READINGS_A_SECOND
from bench.playing import write_store
from receivers import metrics

CONFIG = """
[room]
name = "Bench"
volume = 45
[store]
folder = "{folder}/outage"
[clock]
has_battery = true
[parts.bench]
model = "pms5003"
port = "/dev/null"
[database]
url = "{url}"
bucket = "bench"
"""

_DRAIN = """
import os, resource, sys, time
from pathlib import Path
from ventwright.courier.main import Courier
from ventwright.settings.plan import read_settings
from ventwright_drivers.clock import SystemClock
courier = Courier(read_settings(Path(sys.argv[1])), SystemClock(), os.environ)
begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
began = time.monotonic()
assert courier.drain(600_000)
print(time.monotonic() - began, begun, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
courier.close()
"""


def measure(folder: Path, seconds: int) -> tuple[float, float, float]:
    """Push; readings a second, growth of peak memory, MB, and peak memory, MB."""
    write_store(folder / "outage", seconds)
    config = folder / "push.toml"
    with metrics(folder / "database") as server:
        config.write_text(CONFIG.format(folder=folder, url=server.url))
        told = subprocess.run(
            [sys.executable, "-c", _DRAIN, str(config)],
            capture_output=True,
            text=True,
            check=True,
            env=os.environ,
        )
    took, begun, peak = map(float, told.stdout.split())
    return seconds * READINGS_A_SECOND / took, (peak - begun) / 1024, peak / 1024
