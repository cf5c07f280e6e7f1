"""A process that stores one event after another and says so only after each commit.

Run as `python storing.py FOLDER FIRST`; writes the number of every committed event as a line.
"""

import os
import sys
from pathlib import Path

from ventwright.events import Readings, Record
from ventwright.storage.writer import Writer


def main() -> None:
    store = Writer(Path(sys.argv[1]), "boot", 0)
    store.part("bench", "pms5003", ("pm1",))
    n = int(sys.argv[2])
    while True:
        store.add(Readings(n, "bench", (n,), b"\0"))
        store.add(Record(n, "alarm", "print", {"n": n}))
        store.keep("core", {"n": n})
        store.commit()
        os.write(1, b"%d\n" % n)
        n += 1


if __name__ == "__main__":
    main()
