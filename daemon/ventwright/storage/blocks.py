"""Packs the samples of one part into a block and back.

Layout of the bytes inside the zlib stream, little endian: the times as 32-bit differences (the
first from the block's `first`), then for each quantity a column of 64-bit differences of whole
steps and a column of one quality mark a sample. A sample without a value repeats the value
before it, so that it costs nothing, and is told by the mark NO_VALUE added to its quality.
"""

import zlib
from array import array
from collections.abc import Sequence
from itertools import accumulate
from operator import sub
from sys import byteorder
from typing import NamedTuple

NO_VALUE = 0x80
_SAMPLE_TIMES = "i"
_STEPS = "q"


class Column(NamedTuple):
    """One quantity over a block: whole steps (None: no value) and quality marks."""

    steps: list[int | None]
    marks: bytes


class Block(NamedTuple):
    """Samples of one part: their times (ms of the boot) and a column a quantity."""

    times: list[int]
    columns: list[Column]


def _differences(values: Sequence[int], before: int) -> list[int]:
    return list(map(sub, values, [before, *values[:-1]]))


def to_bytes(code: str, values: list[int]) -> bytes:
    """Write whole numbers as little-endian bytes; `code` as of the array module."""
    packed = array(code, values)
    if byteorder == "big":
        packed.byteswap()
    return packed.tobytes()


def from_bytes(code: str, data: bytes) -> "array[int]":
    """Read back what `to_bytes` wrote; raises ValueError if bytes are missing."""
    packed = array(code, data)
    if byteorder == "big":
        packed.byteswap()
    return packed


def _sums(code: str, data: bytes, start: int) -> list[int]:
    return list(accumulate(from_bytes(code, data), initial=start))[1:]


def _filled(steps: Sequence[int | None]) -> list[int]:
    """Put the value before in the place of each missing one."""
    filled, last = [], 0
    for step in steps:
        last = last if step is None else step
        filled.append(last)
    return filled


def _column(steps: Sequence[int | None], marks: bytes) -> bytes:
    told = bytes(m | NO_VALUE if s is None else m for s, m in zip(steps, marks, strict=True))
    return to_bytes(_STEPS, _differences(_filled(steps), 0)) + told


def pack(times: Sequence[int], columns: Sequence[tuple[Sequence[int | None], bytes]]) -> bytes:
    """Pack samples: ascending times (ms), and a column of steps and one of marks a quantity."""
    parts = [to_bytes(_SAMPLE_TIMES, _differences(times, times[0]))]
    parts += [_column(steps, marks) for steps, marks in columns]
    return zlib.compress(b"".join(parts), 6)


def unpack(body: bytes, first: int, count: int, quantities: int) -> Block:
    """Unpack a block of `count` samples; raises ValueError if it is damaged."""
    try:
        data = zlib.decompress(body)
    except (zlib.error, TypeError) as error:
        raise ValueError(f"a block of readings is damaged: {error}") from error
    if len(data) != 4 * count + 9 * count * quantities:
        raise ValueError("a block of readings has the wrong length")
    columns = []
    for place in range(4 * count, len(data), 9 * count):
        split = place + 8 * count
        told = data[split : split + count]
        steps: list[int | None] = list(_sums(_STEPS, data[place:split], 0))
        if max(told) >= NO_VALUE:
            steps = [None if m & NO_VALUE else s for s, m in zip(steps, told, strict=True)]
        columns.append(Column(steps, bytes(m & ~NO_VALUE & 0xFF for m in told)))
    return Block(_sums(_SAMPLE_TIMES, data[: 4 * count], first), columns)
