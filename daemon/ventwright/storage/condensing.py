"""Makes one-minute and hourly figures of the readings of one part over one hour, and packs them.

Knows steps and marks; knows neither a table nor a clock. A reading speaks for the time that the
rolling means give it, by the pace at which the part was heard.

Layout of packed figures inside the zlib stream, little endian, a quantity after another: means in
hundredths of a step, lowest and highest steps as 64-bit differences each from the one before, then
covered ms as 32-bit numbers. Where nothing is covered the figures before are repeated.
"""

import zlib
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, pairwise
from statistics import median_low
from typing import NamedTuple

from ventwright.means.channel import reach_of
from ventwright.means.minutes import MINUTE_MS, Minutes
from ventwright.quality.marks import Quality
from ventwright.storage.blocks import Block, from_bytes, to_bytes

HOUR_MS = 60 * MINUTE_MS
_PER_HOUR = 60
_FINE = 100
_USUAL_PACE_MS = 1000
_SLOWEST_PACE_MS = MINUTE_MS
LONGEST_REACH_MS = reach_of(_SLOWEST_PACE_MS)
"""How long after the hour a reading may still speak for some of it, ms."""
_WIDE = "q"
_COVER = "I"
_BYTES_EACH = 28


class Figure(NamedTuple):
    """Some time of one quantity: steps, and for how many ms of it readings speak."""

    mean: float
    low: int
    high: int
    cover: int


Figures = list[Figure | None]
"""One after another in time; None where no good reading speaks."""


def condense(blocks: Iterable[Block], quantities: int, start: int) -> list[Figures]:
    """Give 60 figures a quantity for the hour from `start` (in the blocks' ms) on."""
    held = list(blocks)
    pace = _pace([t for block in held for t in block.times if _speaks(t, start)])
    return [_minutes(_good(held, place, start), start, pace) for place in range(quantities)]


def _pace(times: Sequence[int]) -> int:
    """Tell how often a part is heard, ms, from the times of its samples."""
    gaps = [b - a for a, b in pairwise(times) if b > a]
    return min(median_low(gaps), _SLOWEST_PACE_MS) if gaps else _USUAL_PACE_MS


def _speaks(t: int, start: int) -> bool:
    """Tell whether a reading at `t` can speak for some of the hour from `start` on."""
    return start < t < start + HOUR_MS + LONGEST_REACH_MS


def _good(blocks: Iterable[Block], place: int, start: int) -> Iterator[tuple[int, int]]:
    """Give the good readings of a column that can speak for the hour: their times and steps."""
    for block in blocks:
        column = block.columns[place]
        for t, step, mark in zip(block.times, column.steps, column.marks, strict=True):
            if mark == Quality.GOOD and step is not None and _speaks(t, start):
                yield t, step


def _minutes(readings: Iterable[tuple[int, int]], start: int, pace: int) -> Figures:
    minutes = Minutes(start + HOUR_MS, _PER_HOUR, pace, reach_of(pace))
    bounds: dict[int, tuple[int, int]] = {}
    for t, step in readings:
        minutes.add(t, step)
        number = (t - 1 - start) // MINUTE_MS
        low, high = bounds.get(number, (step, step))
        bounds[number] = (min(low, step), max(high, step))
    return [_figure(minutes, number, bounds.get(number)) for number in range(_PER_HOUR)]


def _figure(minutes: Minutes, number: int, bounds: tuple[int, int] | None) -> Figure | None:
    back = _PER_HOUR - 1 - number
    sums = minutes.sums(back, back + 1)
    if not sums.cover:
        return None
    mean = sums.area / sums.cover
    low, high = bounds or (round(mean), round(mean))
    return Figure(mean, low, high, sums.cover)


def of_hour(minutes: Figures) -> Figure | None:
    """Make one figure of those of the minutes of an hour; None if there are none."""
    known = [figure for figure in minutes if figure]
    cover = sum(figure.cover for figure in known)
    if not cover:
        return None
    mean = sum(figure.mean * figure.cover for figure in known) / cover
    low, high = min(figure.low for figure in known), max(figure.high for figure in known)
    return Figure(mean, low, high, cover)


def pack_figures(columns: Sequence[Figures]) -> bytes:
    """Pack figures, equally many a quantity; means are kept to a hundredth of a step."""
    return zlib.compress(b"".join(map(_packed, columns)), 6)


def _packed(figures: Figures) -> bytes:
    filled, last = [], Figure(0.0, 0, 0, 0)
    for figure in figures:
        last = figure or last._replace(cover=0)
        filled.append(last)
    means = [round(figure.mean * _FINE) for figure in filled]
    wide = (means, [figure.low for figure in filled], [figure.high for figure in filled])
    return b"".join(map(_differences, wide)) + to_bytes(_COVER, [f.cover for f in filled])


def _differences(values: list[int]) -> bytes:
    return to_bytes(_WIDE, [b - a for a, b in zip([0, *values[:-1]], values, strict=True)])


def unpack_figures(body: bytes, quantities: int) -> list[Figures]:
    """Unpack what `pack_figures` packed; raises ValueError if it is damaged."""
    return [_unpacked(data) for data in _split(body, quantities)]


def _split(body: bytes, quantities: int) -> list[bytes]:
    try:
        data = zlib.decompress(body)
    except (zlib.error, TypeError) as error:
        raise ValueError(f"a summary is damaged: {error}") from error
    size, rest = divmod(len(data), max(1, quantities))
    if rest or size % _BYTES_EACH:
        raise ValueError("a summary has the wrong length")
    return [data[size * n : size * (n + 1)] for n in range(quantities)]


def minutes_of(body: bytes, quantities: int) -> list[tuple[list[int], list[int]]]:
    """Unpack means (hundredths of a step) and covered ms alone, a pair of columns a quantity.

    For those who read a year: no figure is made of each. Raises ValueError if it is damaged.
    """
    return [_means(data) for data in _split(body, quantities)]


def _means(data: bytes) -> tuple[list[int], list[int]]:
    count = len(data) // _BYTES_EACH
    means = list(accumulate(from_bytes(_WIDE, data[: 8 * count])))
    return means, list(from_bytes(_COVER, data[24 * count :]))


def _unpacked(data: bytes) -> Figures:
    count = len(data) // _BYTES_EACH
    wide = [
        accumulate(from_bytes(_WIDE, data[8 * count * n : 8 * count * (n + 1)])) for n in range(3)
    ]
    covers = from_bytes(_COVER, data[24 * count :])
    return [
        Figure(mean / _FINE, low, high, cover) if cover else None
        for mean, low, high, cover in zip(*wide, covers, strict=True)
    ]
