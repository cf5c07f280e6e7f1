"""Bytes that reach a card in real time, counted at its block device: `python -m bench.card [MIN]`.

Keeper and courier run for MIN minutes (60 unless told) at the reference load, with a real database,
their store on a fresh ext4 with nothing else on it. Its journal, the shared index of the store's
write-ahead log and whatever the kernel writes back count as they would on a board. To be run as
root; keeper and courier run as a user without rights, as SQLite touches more files for root.
"""

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple

from bench.load import PARTS, Wire, air, frame, toml, walk
from bench.writing import device_bytes
from receivers import metrics
from ventwright.storage.schema import LOG_PAGES, beside, open_to_read, store_path

WARM_UP_MIN = 2
DAY_MIN = 24 * 60
NOBODY = 65534


class Written(NamedTuple):
    """Bytes written, by those who wrote them and at the device."""

    keeper: int
    courier: int
    device: int
    """Of the block device, whole sectors, the file system's journal included."""


@contextmanager
def card(folder: Path, options: str = "noatime") -> Iterator[Path]:
    """Mount a fresh ext4 of 256 MB; gives its folder."""
    image, place = folder / "card.img", folder / "card"
    place.mkdir()
    with image.open("wb") as file:
        file.truncate(256 << 20)
    _run("mkfs.ext4", "-q", "-b", "4096", "-E", "lazy_itable_init=0,lazy_journal_init=0", image)
    _run("mount", "-o", f"loop,{options}", image, place)
    try:
        yield place
    finally:
        _run("umount", place)


def _run(*words: str | Path) -> None:
    subprocess.run([str(word) for word in words], check=True, capture_output=True)


def written(keeper: int, courier: int, place: Path) -> Written:
    """Count what was written up to now."""
    return Written(_of(keeper), _of(courier), device_bytes(place))


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


def start(process: str, config: Path) -> "subprocess.Popen[bytes]":
    """Start the keeper or the courier as nobody."""
    command = [sys.executable, "-m", f"ventwright.{process}", "--config", str(config)]
    return subprocess.Popen(command, user=NOBODY, group=NOBODY, extra_groups=[])


def lengthen(store: Path) -> None:
    """Give the write-ahead log the length that it has after an hour or so."""
    with closing(open_to_read(store)) as db:
        (page,) = db.execute("PRAGMA page_size").fetchone()
    with beside(store_path(store), "-wal").open("ab") as log:
        log.write(bytes(max(0, LOG_PAGES * page - log.tell())))


def configure(folder: Path, store: Path, base: str, wires: list[Wire]) -> Path:
    """Write the configuration; folder, store and wires are for everybody."""
    folder.chmod(0o755)
    store.parent.chmod(0o777)
    for wire in wires:
        Path(wire.path).chmod(0o666)
    ports = dict(zip(PARTS, (wire.path for wire in wires), strict=True))
    config = folder / "card.toml"
    config.write_text(toml(store, ports, f'[database]\nurl = "{base}"\nbucket = "air"\n'))
    return config


def measure(folder: Path, minutes: int, options: str = "noatime") -> Written:
    """Run at the reference load for some minutes after the warm-up; bytes written in them."""
    with card(folder, options) as place, metrics(folder / "base") as base:
        wires, over = [Wire() for _ in PARTS], threading.Event()
        config = configure(folder, place / "store", base.url, wires)
        feeding = threading.Thread(target=breathe, args=(wires, over))
        feeding.start()
        keeper, courier = start("keeper", config), start("courier", config)
        try:
            time.sleep(60 * WARM_UP_MIN)
            lengthen(place / "store")
            time.sleep(60)
            assert keeper.poll() is None
            assert courier.poll() is None
            before = written(keeper.pid, courier.pid, place)
            time.sleep(60 * minutes)
            after = written(keeper.pid, courier.pid, place)
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
