"""A report over a year of one-minute means, eight channels: from the store to the page."""

import random
import resource
import time
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from bench.load import PARTS, settings
from ventwright.reporting.facts import facts
from ventwright.reporting.gathered import Gathered
from ventwright.reporting.period_page import period_page
from ventwright.reporting.periods import span_of
from ventwright.reporting.pictures import pictures
from ventwright.storage.condensing import HOUR_MS, Figure, of_hour, pack_figures
from ventwright.storage.schema import open_to_write
from ventwright.storage.writer import Writer

_BEGIN = round(datetime(2025, 1, 6).timestamp() * 1000) // HOUR_MS * HOUR_MS


def _fill(folder: Path, hours: int) -> None:
    """Put hours of reduced minutes into a store, as the keeper leaves them after a year."""
    store = Writer(folder, "boot-1", _BEGIN)
    store.settle(_BEGIN)
    for part, kept in PARTS.items():
        store.part(part, "pms5003", kept)
    store.commit()
    store.close()
    noise = random.Random(1)
    bodies = {part: [_body(noise, len(kept)) for _ in range(50)] for part, kept in PARTS.items()}
    db = open_to_write(folder)
    db.execute("BEGIN")
    for number, (part, kept) in enumerate(PARTS.items(), 1):
        row = (number, part, "pms5003", f"{list(kept)}".replace("'", '"'))
        db.execute("INSERT OR IGNORE INTO parts VALUES (?, ?, ?, ?)", row)
    for hour in range(hours):
        for number, part in enumerate(PARTS, 1):
            minutes, hourly = noise.choice(bodies[part])
            found = db.execute(
                "INSERT INTO hours (number, boot, start, part, block, body)"
                " VALUES (?, 1, ?, ?, 0, ?)",
                (hour + 1, hour * HOUR_MS, number, hourly),
            )
            row = (found.lastrowid, hour + 1, minutes)
            db.execute("INSERT INTO minutes VALUES (?, ?, ?)", row)
    db.execute("COMMIT")
    db.close()


def _body(noise: random.Random, width: int) -> tuple[bytes, bytes]:
    columns = []
    for _ in range(width):
        steps = [40 + noise.random() * 200 for _ in range(60)]
        columns.append([Figure(s, int(s) - 9, int(s) + 9, 60_000) for s in steps])
    return pack_figures(columns), pack_figures([[of_hour(minutes)] for minutes in columns])


class Measured(NamedTuple):
    """What a report took."""

    seconds: float
    processor: float
    """Of it on a processor, s: the machine may be busy with others."""
    megabytes: float
    size: int
    """Of the page, bytes."""


def measure(folder: Path, days: int) -> Measured:
    """Make a report of so many days of minutes, from the store to the page."""
    folder.mkdir()
    _fill(folder, 24 * days)
    end = _BEGIN + 24 * days * HOUR_MS
    start, busy = time.perf_counter(), time.process_time()
    gathered = Gathered(
        settings(folder, dict.fromkeys(PARTS, "/nowhere")), span_of(_BEGIN, end), end
    )
    page = period_page(facts(gathered), pictures(gathered), end)
    took, spent = time.perf_counter() - start, time.process_time() - busy
    assert gathered.main.known == 24 * 60 * days
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return Measured(took, spent, most, len(page.encode()))
