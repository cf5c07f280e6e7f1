"""Bytes that reach a card in real time, counted at its block device: `python -m bench.card [MIN]`.

Keeper and courier run for MIN minutes (60 unless told) at the reference load, with a real database,
their store on a fresh ext4 with nothing else on it. A journal, the shared index of the store's
write-ahead log and whatever the kernel writes back count as they would on a board. As root.
"""

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from bench.load import PARTS, Wire, air, frame, toml, walk
from bench.processor import start_keeper
from receivers import metrics

WARM_UP_MIN = 3
DAY_MIN = 24 * 60


class Written(NamedTuple):
    """Bytes written, by those who wrote them and at the device."""

    keeper: int
    courier: int
    device: int
    """Of the block device, whole sectors, the file system's journal included."""


@contextmanager
def card(folder: Path, options: str = "noatime") -> Iterator[tuple[Path, str]]:
    """Mount a fresh ext4 of 256 MB; gives its folder and its device's name."""
    image, place = folder / "card.img", folder / "card"
    place.mkdir()
    with image.open("wb") as file:
        file.truncate(256 << 20)
    _run("mkfs.ext4", "-q", "-b", "4096", "-E", "lazy_itable_init=0,lazy_journal_init=0", image)
    _run("mount", "-o", f"loop,{options}", image, place)
    try:
        device = _run("findmnt", "-n", "-o", "SOURCE", place).strip()
        yield place, Path(device).name
    finally:
        _run("umount", place)


def _run(*words: str | Path) -> str:
    done = subprocess.run([str(w) for w in words], check=True, capture_output=True, text=True)
    return done.stdout


def written(keeper: int, courier: int, device: str) -> Written:
    """Count what was written up to now."""
    return Written(_of(keeper), _of(courier), at_device(device))


def at_device(device: str) -> int:
    """Count the bytes that a block device was given up to now, whole sectors."""
    return 512 * int(Path(f"/sys/block/{device}/stat").read_text().split()[6])


def _of(process: int) -> int:
    text = Path(f"/proc/{process}/io").read_text()
    return int(text.split("\nwrite_bytes: ")[1].split()[0])


def breathe(wires: list[Wire], over: threading.Event) -> None:
    """Send a frame a part and second, parts out of step, until it is over."""
    noise, due = walk(1), time.monotonic()
    while True:
        for wire in wires:
            wire.send(frame(air(noise)))
            due += 1 / len(PARTS)
            if over.wait(max(0.0, due - time.monotonic())):
                return


def measure(folder: Path, minutes: int, options: str = "noatime") -> Written:
    """Run at the reference load for some minutes after the warm-up; bytes written in them."""
    with card(folder, options) as (place, device), metrics(folder / "base") as base:
        wires, over = [Wire() for _ in PARTS], threading.Event()
        ports = dict(zip(PARTS, (wire.path for wire in wires), strict=True))
        config = folder / "card.toml"
        config.write_text(
            toml(place / "store", ports, f'[database]\nurl = "{base.url}"\nbucket = "air"\n')
        )
        feeding = threading.Thread(target=breathe, args=(wires, over))
        feeding.start()
        keeper = start_keeper(config)
        courier = subprocess.Popen(
            [sys.executable, "-m", "ventwright.courier", "--config", str(config)]
        )
        try:
            time.sleep(60 * WARM_UP_MIN)
            assert keeper.poll() is None
            assert courier.poll() is None
            before = written(keeper.pid, courier.pid, device)
            time.sleep(60 * minutes)
            after = written(keeper.pid, courier.pid, device)
        finally:
            for process in (courier, keeper):
                process.terminate()
                process.wait(30)
            over.set()
            feeding.join()
            for wire in wires:
                wire.close()
    return Written(*(b - a for a, b in zip(before, after, strict=True)))


def main() -> None:
    """Measure and tell, as of a day."""
    minutes = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    options = sys.argv[2] if len(sys.argv) > 2 else "noatime"
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        found = measure(Path(folder), minutes, options)
    told = (
        f"{name} {size / 1e6 * DAY_MIN / minutes:.1f}" for name, size in found._asdict().items()
    )
    print(f"MB a day, from {minutes} min, ext4 {options}: {', '.join(told)}")


if __name__ == "__main__":
    main()
