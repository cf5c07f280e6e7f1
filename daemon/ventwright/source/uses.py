"""What every use of the extractors showed, from the store's records, and the trend over months."""

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from ventwright.source.proof import LOW
from ventwright.source.trend import Use, trend_of
from ventwright.storage.schema import in_body, open_to_read

_QUERY = f"""
SELECT subject, t + offset, {in_body("share")} FROM events
JOIN boots ON boots.id = events.boot
WHERE kind = 'clearance' AND {in_body("change")} IN ('found', 'back')
AND t + offset > coalesce((
    SELECT max(made.t + era.offset) FROM events made JOIN boots era ON era.id = made.boot
    WHERE made.kind = 'commissioned' AND made.subject = events.subject
), 0) ORDER BY 2
"""  # noqa: S608


def uses_of(folder: Path) -> dict[str, list[Use]]:
    """Read the uses of every extractor since it was last commissioned; raises sqlite3.Error."""
    found: dict[str, list[Use]] = {}
    with closing(open_to_read(folder)) as db:
        for name, t, share in db.execute(_QUERY):
            found.setdefault(name, []).append(Use(t, share))
    return found


def clearances(folder: Path) -> tuple[dict[str, Any], str]:
    """Tell of every extractor how it cleared and where that goes, and why not if that fails."""
    try:
        found = uses_of(folder)
    except sqlite3.Error as error:
        return {}, str(error)
    return {name: _told(uses) for name, uses in found.items()}, ""


def _told(uses: list[Use]) -> dict[str, Any]:
    trend = trend_of(uses, LOW)
    return {
        "uses": len(uses),
        "newest": uses[-1].share,
        "newest at": uses[-1].t,
        "trend": None if trend is None else {**trend._asdict(), "falls": trend.falls},
    }


def clearance_lines(told: dict[str, Any], failing: str = "") -> Iterator[str]:
    """Write how every extractor cleared, and when a filter is due; or why that is not known."""
    if failing:
        yield f"clearance: not known, for the store cannot be read: {failing}"
    for name, one in told.items():
        share = f"{100 * one['newest']:.0f} % of commissioned"
        yield f"clearance {name}: {share} in the newest of {one['uses']} uses{_trend(one['trend'])}"


def _trend(trend: dict[str, Any] | None) -> str:
    if trend is None:
        return "; too few or too close together for a trend"
    if not trend["falls"]:
        return "; no trend"
    falls = f"; it falls by {-100 * trend['a_month']:.1f} points a month"
    if trend["due"] is None:
        return falls
    when = time.strftime("%B %Y", time.localtime(trend["due"] / 1000))
    return f"{falls}: filter due about {when}"
