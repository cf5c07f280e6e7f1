"""A workshop around the board: a dust sensor and a relay on USB, and air that the test chooses."""

import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path

from qemu import image
from qemu.machine import Board, Said
from qemu.wire import Wire
from qemu.witness import PROGRAM, UNIT, Witness
from ventwright_drivers.emulated.pms import PmsTwin
from ventwright_drivers.emulated.relay_a0 import A0Twin

DUST, RELAY = 1, 2
PORT = "/dev/serial/by-path/pci-0000:00:02.0-usb-0:{}:1.0-port0"
CLEAN, DIRTY = 4.0, 180.0

CONFIG = f"""
[room]
name = "board"
volume = 40
[store]
folder = "/var/lib/ventwright"
commit_every = "2 s"
[parts.bench]
model = "pms5003"
port = "{PORT.format(DUST)}"
quantities = ["pm2_5"]
[relays.board]
model = "relay-a0"
port = "{PORT.format(RELAY)}"
channel = 1
safe_state = "off"
repeat_every = "2 s"
[extractors.hood]
relay = "board"
when_blind = "off"
blind_after = "2 min"
minimum_on = "1 s"
minimum_off = "1 s"
run_on = "1 s"
[alarms.dust]
channel = "bench.pm2_5"
compare = "mean"
setpoint = 50
deadband = 20
over = "10 s"
on_delay = "1 s"
off_delay = "1 s"
priority = "low"
extract = true
coverage = 0.3
"""


class Workshop:
    """Board, sensor and relay; the relay loses its power with the board."""

    def __init__(self, folder: Path) -> None:
        """Build the board's disk in `folder`; it is still off."""
        self.folder = folder
        self.level = CLEAN
        self.board = Board(folder)
        self.witness: Witness | None = None
        self.known: dict[tuple[str, int], int] = {}
        self.dust = Wire(PmsTwin(lambda _quantity: self.level), self.board.wire(DUST))
        self._relay = Wire(A0Twin(), self.board.wire(RELAY))

    @property
    def relay(self) -> A0Twin:
        """The relay board, since its last power-up."""
        twin = self._relay.twin
        assert isinstance(twin, A0Twin)
        return twin

    @property
    def extracting(self) -> bool:
        """Whether the contact is closed, seen at the relay itself."""
        return self.relay.contacts[0]

    def boot(self, plugged: tuple[int, ...] = (DUST, RELAY)) -> float:
        """Switch on and wait for the shell; gives the seconds it took."""
        begun = self.board.switch_on()
        self.witness = Witness(self.board.witness)
        for port in plugged:
            self.board.plug(port)
        return self.board.wait_booted(begun)

    def cut_power(self) -> None:
        """Cut the power of board and relay, and remember what was committed."""
        self.board.cut_power()
        if self.witness is not None:
            self.known = {**self.known, **self.witness.seen()}
        self._relay.twin = A0Twin()

    def type(self, script: str) -> Said:
        """Type a script on the board."""
        return self.board.type(script)

    def write(self, path: str, text: str) -> None:
        """Put a file on the board."""
        assert self.type(f"cat > {path} <<'END_OF_FILE'\n{text}\nEND_OF_FILE").status == 0

    def furnish(self) -> None:
        """Set the witness up."""
        self.write("/usr/local/bin/witness", PROGRAM)
        self.write("/etc/systemd/system/witness.service", UNIT)
        assert self.type("systemctl enable --now witness").status == 0

    def install(self, options: str = "") -> Said:
        """Run the installer as a newcomer would, from a checkout."""
        get = "cd && rm -rf ventwright && cp -r /media/stick/ventwright . && cd ventwright"
        return self.type(f"{get} && SUDO_USER=maker systemd/install {options}")

    def configure(self, config: str = CONFIG) -> Said:
        """Write the configuration for sensor and relay, and use it."""
        self.write("/etc/ventwright/ventwright.toml", config)
        return self.type("systemctl restart ventwright-keeper ventwright-courier")

    def close(self) -> None:
        """Switch all off."""
        self.board.cut_power()
        for wire in (self.dust, self._relay):
            wire.close()


def build(folder: Path, prebuilt: bool) -> None:
    """Build the disk and the stick; `prebuilt`: with the release built by this machine's speed.

    The board runs Debian 12, or the suite that the environment calls SUITE: `trixie` is Debian 13.
    """
    root, stick = folder / "root", folder / "stick"
    suite = os.environ.get("SUITE", "bookworm")
    image.build_root(root, suite)
    for name in ("kernel", "initrd"):
        shutil.copy(root / "boot" / name, folder / name)
    image.build_stick(stick, folder / "stick.img", suite)
    if prebuilt:
        image.prebuild(root, stick)
    image.build_disk(root, folder / "disk.img")
    shutil.rmtree(root)


def within(seconds: float, done: Callable[[], bool], what: str) -> float:
    """Wait until it is `done`; gives the seconds it took. Raises AssertionError after `seconds`."""
    begun = time.monotonic()
    while not done():
        assert time.monotonic() - begun < seconds, f"{what}: not within {seconds} s"
        time.sleep(0.02)
    return time.monotonic() - begun
