"""The keeper, unchanged, on terminals that a script of somebody else made and feeds.

Nothing of ours is on the other side: the frames are written out as protocols.md sections 2 and
10 document them, and the part needs its true warm-up of 30 s.
"""

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from house import changes, events, until

SCRIPT = """
import os, select, sys, time, tty
sensor, sensor_end = os.openpty(); relay, relay_end = os.openpty()
for end in (sensor_end, relay_end): tty.setraw(end)
print(os.ttyname(sensor_end), os.ttyname(relay_end), flush=True)
start = time.monotonic(); n = 0
while True:
    dust = 80 + n % 2 if time.monotonic() - start > 1 else 4; n += 1
    words = [28, dust, dust, dust, dust, dust, dust, 900, 300, 40, 6, 3, 1, 0x9700]
    frame = b"BM" + b"".join(w.to_bytes(2, "big") for w in words)
    os.write(sensor, frame + (sum(frame) & 0xFFFF).to_bytes(2, "big"))
    if select.select([relay], [], [], 0.9)[0]: print(os.read(relay, 99).hex(), flush=True)
    if select.select([sensor], [], [], 0)[0]: os.read(sensor, 99)
"""

CONFIGURATION = """
[room]
name = "foreign"
volume = 40

[store]
folder = "{folder}/store"
commit_every = "1 s"

[parts.bench]
model = "pms5003"
port = "{sensor}"

[relays.board]
model = "relay-a0"
port = "{relay}"

[extractors.hood]
relay = "board"
when_blind = "off"
minimum_off = "0 s"

[alarms.print]
channel = "bench.pm2_5"
compare = "mean"
setpoint = 50
deadband = 10
over = "3 s"
on_delay = "0 s"
"""

ON, OFF = "a00101a2", "a00100a1"


class Foreign:
    """The script as a process, and what it saw on the relay's terminal."""

    def __init__(self, folder: Path) -> None:
        self._seen = folder / "seen"
        with self._seen.open("wb") as seen:
            self.process = subprocess.Popen([sys.executable, "-c", SCRIPT], stdout=seen)
        self.sensor, self.relay = until(lambda: re.findall(r"/dev/\S+", self._seen.read_text()))

    def relay_bytes(self) -> str:
        return "".join(self._seen.read_text().split("\n")[1:])


@pytest.fixture
def foreign(tmp_path: Path) -> Iterator[Foreign]:
    found = Foreign(tmp_path)
    yield found
    found.process.kill()
    found.process.wait()


def test_alarm_and_relay_work_with_nothing_of_ours_on_the_other_side(
    tmp_path: Path, foreign: Foreign
) -> None:
    config = tmp_path / "ventwright.toml"
    config.write_text(
        CONFIGURATION.format(folder=tmp_path, sensor=foreign.sensor, relay=foreign.relay)
    )
    keeper = subprocess.Popen([sys.executable, "-m", "ventwright.keeper", "--config", str(config)])
    try:
        until(lambda: ON in foreign.relay_bytes(), "for the relay")
        keeper.terminate()
        assert keeper.wait() == 0
    finally:
        keeper.kill()
        keeper.wait()
    until(lambda: foreign.relay_bytes().endswith(OFF), "for the safe state")
    assert foreign.relay_bytes().startswith(OFF)
    store = tmp_path / "store"
    assert changes(store, "alarm") == ["raised"]
    started, raised = events(store)[0], events(store, "alarm")[0]
    assert raised.t - started.t >= 30_000
    assert 79 <= raised.body["value"] <= 82
