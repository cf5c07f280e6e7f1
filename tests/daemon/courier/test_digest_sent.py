"""The digest from the store to a mailbox: the real courier process, a real mail server."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from receivers import eventually, mail_server
from stored import writer
from ventwright.events import Readings, Record
from ventwright_drivers.clock import SystemClock, boot_id

TESTS = Path(__file__).parents[2]
MINUTE = 60_000

PROGRAM = f"""
import sys
sys.path.insert(0, {str(TESTS)!r})
from dataclasses import replace
from pathlib import Path
import stored
from ventwright.courier import digests
from ventwright.courier.main import run_courier
from ventwright.settings.model import PartEntry, Reporting
DRIVER = "ventwright_drivers.serial.pms:Pms5003"
digests.Digests.times = {{"second": "*"}}  # every second is the time of the digest
folder, address = sys.argv[1:]
given = {{"phone": stored.phone(Path(folder), address), "report": Reporting(digest="day")}}
parts = {{"bench": PartEntry("pms5003", DRIVER, None, stored.QUANTITIES_OF["bench"])}}
run_courier(replace(stored.settings(Path(folder), **given), parts=parts), {{}})
"""


@contextmanager
def courier(folder: Path, address: str) -> Iterator[None]:
    """Run it where it is the afternoon, so that there is a day to tell of."""
    east = 13 - time.gmtime().tm_hour
    environ = {**os.environ, "TZ": f"Etc/GMT{-east:+d}" if east else "UTC"}
    command = [sys.executable, "-c", PROGRAM, str(folder), address]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environ) as made:
        try:
            yield
            made.send_signal(signal.SIGTERM)
            assert made.wait(60) == 0
        finally:
            made.kill()


def an_hour(folder: Path) -> None:
    """Store the last hour of this boot: 40 µg/m³."""
    now = SystemClock().now()
    offset = time.time_ns() // 1_000_000 - now
    store = writer(folder, boot_id(), offset)
    for t in range(now - 60 * MINUTE, now, 2000):
        store.add(Readings(t, "bench", (300, 400, 450), b"\0\0\0"))
    store.commit()
    store.close()


def test_it_comes_into_the_mailbox_once_over_restarts_of_the_courier(tmp_path: Path) -> None:
    an_hour(tmp_path)
    with mail_server() as (box, port):
        address = f"mailto://127.0.0.1:{port}/?from=watch@workshop.test&to=owner@workshop.test"

        def digests() -> list[tuple[str, str]]:
            return [
                mail
                for mail in box.mails
                if "Nothing needs doing" in mail[1] or "To do:" in mail[1]
            ]

        with courier(tmp_path, address):
            eventually(digests)
        with courier(tmp_path, address):
            store = writer(tmp_path, boot_id())
            store.add(Record(SystemClock().now(), "part", "bench", {"change": "lost"}))
            store.commit()
            store.close()
            eventually(lambda: any("lost" in title for title, _ in box.mails))
        ((title, body),) = digests()
    assert title.startswith("Workshop: ")
    assert str(time.gmtime().tm_year) in title
    assert "40" in body.splitlines()[0]
    assert "Alarms: none." in body
    assert "Ultrafine particles are not seen." in body
