"""What the store holds of a test print: minute means of a channel, and when extractors ran."""

from array import array
from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from ventwright.averaging.gather import good, pour
from ventwright.means.channel import reach_of
from ventwright.means.minutes import MINUTE_MS, Minutes
from ventwright.settings.model import Settings
from ventwright.storage.blocks import Column
from ventwright.storage.reader import Reader
from ventwright.storage.summaries import summaries
from ventwright_drivers.quantities import QUANTITIES
from ventwright_drivers.registry import load

_WHOLE = 0.95
_COVERED = 0.5
"""A minute of which readings cover less has no mean."""

Means = list[tuple[int, float]]
"""Beginnings (Unix ms) and means of minutes."""


class Recorded(NamedTuple):
    """A channel's minutes, and the step in which its readings come."""

    minutes: Means
    step: float
    coverage: float


class _Taken:
    """The good readings of one channel."""

    def __init__(self) -> None:
        self.times = array("q")
        self.steps = array("q")

    def take(self, times: Sequence[int], column: Column, sure: bool) -> None:  # noqa: ARG002
        for t, step in good(times, column):
            self.times.append(t)
            self.steps.append(step)


def recorded(
    reader: Reader, settings: Settings, channel: str, anchor: int, span: tuple[int, int]
) -> Recorded:
    """Read the minute means between two times (Unix ms), minutes counted from `anchor`.

    Where the readings themselves are gone, the minutes that the store kept of them stand in.
    Raises sqlite3.Error.
    """
    found = _of_readings(reader, settings, channel, anchor, span)
    if found.coverage >= _WHOLE:
        return found
    kept = _kept(settings, channel, span)
    return kept if kept.coverage > found.coverage else found


def _kept(settings: Settings, channel: str, span: tuple[int, int]) -> Recorded:
    rows = list(summaries(settings.store.folder, channel, "minute", *span))
    means = {row.start: row.mean for row in rows if row.coverage >= _COVERED}
    levels = sorted({value for row in rows for value in (row.low, row.high)})
    step = min((b - a for a, b in pairwise(levels)), default=0.0)
    covered = sum(row.coverage for row in rows) * MINUTE_MS
    return Recorded(sorted(means.items()), step, min(1.0, covered / max(1, span[1] - span[0])))


def _of_readings(
    reader: Reader, settings: Settings, channel: str, anchor: int, span: tuple[int, int]
) -> Recorded:
    part, _, name = channel.partition(".")
    period: int = load(settings.parts[part].driver).period_ms
    first = anchor - -(-(anchor - span[0]) // MINUTE_MS) * MINUTE_MS
    count = -(-(span[1] - first) // MINUTE_MS)
    reach = reach_of(period)
    taken = _Taken()
    pour(reader, settings, {channel: taken}, (first - reach, first + count * MINUTE_MS))
    minutes = Minutes(first + count * MINUTE_MS, count, period, reach)
    for t, step in zip(taken.times, taken.steps, strict=True):
        minutes.add(t, step)
    per_unit = QUANTITIES[name].per_unit
    return Recorded(
        _means(minutes, per_unit), _step(taken.steps) / per_unit, minutes.sums(0, count).coverage
    )


def _means(minutes: Minutes, per_unit: int) -> Means:
    found = []
    for n in range(minutes.count - 1, -1, -1):
        sums = minutes.sums(n, n + 1)
        if sums.coverage >= _COVERED:
            begins = minutes.end - (n + 1) * MINUTE_MS
            found.append((begins, sums.area / sums.cover / per_unit))
    return found


def _step(steps: Sequence[int]) -> int:
    """Find the smallest difference between two readings, whole steps; 0 without any."""
    distinct = sorted(set(steps))
    return min((b - a for a, b in pairwise(distinct)), default=0)


class Extraction(NamedTuple):
    """When any extractor ran: times (Unix ms) of changes, and whether one ran from then on."""

    times: list[int]
    on: list[bool]

    def at(self, t: int) -> bool:
        """Tell whether one ran at a time."""
        place = bisect_right(self.times, t) - 1
        return place >= 0 and self.on[place]


def extraction(reader: Reader) -> Extraction:
    """Read from the events when extractors ran; raises sqlite3.Error."""
    boots, after = reader.boots(), 0
    running: dict[str, bool] = {}
    found = Extraction([], [])
    while page := reader.events(after):
        after = page[-1].id
        for event in page:
            if event.kind == "keeper" and event.body.get("change") == "started":
                running.clear()
            elif event.kind == "extractor":
                running[event.subject] = bool(event.body.get("on"))
            else:
                continue
            found.times.append(event.t + boots[event.boot].offset)
            found.on.append(any(running.values()))
    return found
