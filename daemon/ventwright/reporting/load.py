"""The alarm load: how often alarms were raised, a day, from the store's events.

Source of the comparison: EEMUA 191 takes one alarm in ten minutes for acceptable on average and has
at most 120 a day (5 an hour) as its target, for one operator of a plant. A room needs far fewer.
"""

import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

from ventwright.settings.model import DAY
from ventwright.storage.schema import in_body, open_to_read

TARGET_A_DAY = 120
"""EEMUA 191's target for the average."""

_WEEK = 7
_DAYS = 30
_QUERY = f"""
SELECT t + offset, subject FROM events JOIN boots ON boots.id = events.boot
WHERE kind = 'alarm' AND {in_body("change")} = 'raised'
AND t + offset > ? AND t + offset <= ? ORDER BY 1
"""  # noqa: S608


def alarm_load(folder: Path, now: int) -> dict[str, Any]:
    """Count activations up to `now` (Unix ms): of 24 h, a day on average of a week, by local day.

    Nothing where there is no store. A store that is younger than a week counts with its own age.
    """
    try:
        with closing(open_to_read(folder)) as db:
            rows = db.execute(_QUERY, (now - _DAYS * DAY, now)).fetchall()
            first = db.execute(
                "SELECT min(t + offset) FROM events JOIN boots ON boots.id = events.boot"
            ).fetchone()[0]
    except sqlite3.Error:
        return {}
    return _told(rows, now, now if first is None else first)


def _told(rows: list[tuple[int, str]], now: int, first: int) -> dict[str, Any]:
    week = [(t, alarm) for t, alarm in rows if t > now - _WEEK * DAY]
    days = min(_WEEK, max(1.0, (now - first) / DAY))
    by_day = Counter(f"{datetime.fromtimestamp(t / 1000):%Y-%m-%d}" for t, _ in rows)
    return {
        "last 24 h": sum(t > now - DAY for t, _ in week),
        "a day, over 7 d": round(len(week) / days, 2),
        "by day": dict(by_day),
        "by alarm, over 7 d": dict(Counter(alarm for _, alarm in week).most_common()),
        "EEMUA 191 target, a day": TARGET_A_DAY,
    }


def load_lines(load: dict[str, Any]) -> Iterator[str]:
    """Write the alarm load for people."""
    if not load:
        return
    line = (
        f"alarm load: {load['last 24 h']} in 24 h, {load['a day, over 7 d']:g} a day over 7 d"
        f" (EEMUA 191 target for a plant's operator: at most {load['EEMUA 191 target, a day']})"
    )
    most = next(iter(load["by alarm, over 7 d"].items()), None)
    yield f"{line}; most often {most[0]}, {most[1]} times" if most else line
