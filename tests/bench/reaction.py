"""From the last byte of a frame to the relay's command, through the real keeper, ms."""

import os
import select
import signal
import statistics
import time
from pathlib import Path

from bench.load import Wire, frame
from bench.processor import start_keeper

CONFIG = """
[room]
name = "Bench"
volume = 45
[store]
folder = "{folder}/reaction"
[clock]
has_battery = true
[parts.bench]
model = "pms5003"
port = "{port}"
[relays.board]
model = "relay-a0"
port = "{relay}"
repeat_every = "1 h"
[extractors.fan]
relay = "board"
when_blind = "off"
minimum_on = "1 ms"
minimum_off = "1 ms"
run_on = "1 ms"
blind_after = "10 min"
[alarms.quick]
channel = "bench.pm2_5"
compare = "mean"
over = "1 s"
setpoint = 50
deadband = 1
on_delay = "0 s"
off_delay = "0 s"
coverage = 0.01
"""


def _wait_for(master: int, until: float) -> bytes:
    left = until - time.monotonic()
    if left > 0 and select.select([master], [], [], left)[0]:
        return os.read(master, 100)
    return b""


def measure(folder: Path, times: int) -> list[float]:
    """Switch some times; the time each took, ms, sorted."""
    sensor, board = Wire(), Wire()
    config = folder / "reaction.toml"
    config.write_text(CONFIG.format(folder=folder, port=sensor.path, relay=board.path))
    keeper = start_keeper(config)
    took: list[float] = []
    try:
        for _ in range(33):  # the part's warm-up
            sensor.send(frame((5, 5, 5)))
            time.sleep(1)
        for turn in range(times):
            value = 5 if turn % 2 else 300
            while _wait_for(board.master, time.monotonic() + 1.2):
                pass
            sensor.send(frame((value, value, value)))
            sent = time.monotonic()
            if _wait_for(board.master, sent + 1):
                took.append((time.monotonic() - sent) * 1000)
    finally:
        keeper.send_signal(signal.SIGTERM)
        keeper.wait(20)
    sensor.close()
    board.close()
    return sorted(took)


def p99(values: list[float]) -> float:
    """The value that 99 of 100 do not exceed."""
    return statistics.quantiles(values, n=100)[98]
