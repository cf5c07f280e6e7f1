"""Sees from outside what is committed: the board tells each row of the store once it is there.

In WAL mode with synchronous=FULL a row is seen by others only after it was synced, so what was told
must be there, unchanged, after any power cut. After a boot the board tells all rows anew.
"""

import json
import socket
import threading
import time
from pathlib import Path

PROGRAM = """
import json, sqlite3, time, zlib
port = open("/dev/virtio-ports/witness", "wb", buffering=0)
seen = {"blocks": 0, "events": 0}
told_check = False
while True:
    try:
        store = sqlite3.connect(
            "file:/var/lib/ventwright/readings.sqlite?mode=ro", uri=True, timeout=5
        )
        rows = []
        for table in seen:
            query = f"SELECT * FROM {table} WHERE id > ? ORDER BY id"
            for row in store.execute(query, (seen[table],)):
                rows.append([table, row[0], zlib.crc32(repr(row).encode())])
                seen[table] = row[0]
        if not told_check:
            rows.append(["check", store.execute("PRAGMA integrity_check").fetchone()[0], 0])
            told_check = True
        store.close()
        if rows:
            port.write(json.dumps(rows).encode() + b"\\n")
    except sqlite3.Error:
        pass
    time.sleep(0.5)
"""
UNIT = """[Unit]
Description=Tells a test what is committed
StartLimitIntervalSec=0
[Service]
ExecStartPre=/sbin/modprobe virtio_console
ExecStart=/usr/bin/python3 /usr/local/bin/witness
Restart=always
RestartSec=1
[Install]
WantedBy=multi-user.target
"""

Row = tuple[str, int]


class Witness:
    """Gathers what one boot tells."""

    def __init__(self, path: Path) -> None:
        """Listen at the board's socket `path`, in a thread, until the board is gone."""
        self.rows: dict[Row, int] = {}
        self.integrity = ""
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._listen, args=(path,), daemon=True)
        self._thread.start()

    def _listen(self, path: Path) -> None:
        with socket.socket(socket.AF_UNIX) as sock:
            sock.connect(str(path))
            try:
                for line in sock.makefile("rb"):
                    self._take(json.loads(line))
            except (OSError, ValueError):  # the power was cut in the middle of a line
                return

    def _take(self, rows: list[tuple[str, int, int]]) -> None:
        with self._lock:
            for table, number, crc in rows:
                if table == "check":
                    self.integrity = str(number)
                else:
                    self.rows[table, number] = crc

    def seen(self) -> dict[Row, int]:
        """Give all rows told so far."""
        with self._lock:
            return dict(self.rows)

    def caught_up(self, known: dict[Row, int], more: int, patience: float) -> float:
        """Wait for `more` rows of readings beyond the `known` ones; gives the seconds it took.

        Raises AssertionError if they do not come, or if a known row is missing or another.
        """
        begun = time.monotonic()
        while self._blocks(known) < more:
            if time.monotonic() - begun > patience:
                raise AssertionError("no readings flow")
            time.sleep(0.05)
        self.compare(known)
        return time.monotonic() - begun

    def _blocks(self, known: dict[Row, int]) -> int:
        return sum(row not in known and row[0] == "blocks" for row in self.seen())

    def compare(self, known: dict[Row, int]) -> None:
        """Hold what is there now against what was committed before."""
        compare(known, self.seen())
        assert self.integrity == "ok", self.integrity


def compare(known: dict[Row, int], now: dict[Row, int]) -> None:
    """Raise AssertionError if a known row is missing or not what it was."""
    lost = [row for row in known if row not in now]
    changed = [row for row in known if row in now and now[row] != known[row]]
    assert not lost, f"committed and lost: {lost[:5]} and {len(lost)} in all"
    assert not changed, f"committed and changed: {changed[:5]}"
