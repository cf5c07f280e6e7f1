"""The bare script that the keeper is measured against: read, decode, insert; nothing else.

    python bare.py DATABASE PORT...

Frames of 32 bytes from each port by pyserial, decoded by struct, one row a reading, committed
once a minute with the store's own settings (WAL, synchronous=FULL).
"""

import select
import signal
import sqlite3
import struct
import sys
import time

import serial

ROW = "INSERT INTO readings VALUES (?, ?, ?)"


def main() -> None:
    """Run until told to stop."""
    db = sqlite3.connect(sys.argv[1], isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE readings (t INTEGER, channel INTEGER, value REAL)")
    ports = {}
    for number, path in enumerate(sys.argv[2:]):
        port = serial.Serial(path, 9600, timeout=1)
        ports[port.fileno()] = (number, port)
    running = True

    def stop(*_: object) -> None:
        nonlocal running
        running = False

    signal.signal(signal.SIGTERM, stop)
    due = time.monotonic() + 60
    db.execute("BEGIN")
    while running:
        for fd in select.select(list(ports), [], [], 0.5)[0]:
            number, port = ports[fd]
            frame = port.read(32)
            if len(frame) < 32 or sum(frame[:30]) != frame[30] << 8 | frame[31]:
                continue
            values = struct.unpack_from(">3H", frame, 10)
            now = time.monotonic_ns() // 1_000_000
            db.executemany(ROW, [(now, number * 3 + i, v) for i, v in enumerate(values)])
        if time.monotonic() >= due:
            db.execute("COMMIT")
            db.execute("BEGIN")
            due += 60
    db.execute("COMMIT")


if __name__ == "__main__":
    main()
