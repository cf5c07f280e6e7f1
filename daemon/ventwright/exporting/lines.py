"""Turns a block of readings into lines of the line protocol: one a sample and quality.

`room_air,room=Workshop,part=bench,model=pms5003,quality=good pm1=3,pm2_5=4.5 1764061200123`,
the time in Unix ms. A value that is missing leaves its field out; a sample without any gives
no line.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

from ventwright.quality.marks import Quality
from ventwright.storage.blocks import Block, Column
from ventwright.storage.reader import StoredPart
from ventwright_drivers.quantities import QUANTITIES

_MEANT = re.compile(r"([,= ])")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]+")
_TAGS = {int(mark): mark.name.lower() for mark in Quality}


class Lines(NamedTuple):
    """The lines of a block, in the order of time, and the count of samples that gave none."""

    lines: list[bytes]
    empty: int


def escape(text: str) -> str:
    r"""Write a name as a tag, key or measurement: `print room` becomes `print\ room`."""
    return _MEANT.sub(r"\\\1", _CONTROL.sub(" ", text).rstrip("\\"))


def head(measurement: str, room: str, part: StoredPart) -> str:
    """Write the measurement and the tags that all lines of a part share."""
    tags = (("room", room), ("part", part.name), ("model", part.model))
    written = ((key, escape(value)) for key, value in tags)
    return escape(measurement) + "".join(f",{key}={value}" for key, value in written if value)


def value_text(step: int, per_unit: int) -> str:
    """Write a value of `step` steps in its unit, with no digit that was not kept."""
    return format(step / per_unit, ".15g")


def _fields(name: str, column: Column) -> list[str]:
    """Write a column as `pm1=3`; an empty text where there is no value."""
    key, per_unit = f"{escape(name)}=", QUANTITIES[name].per_unit
    known: dict[int | None, str] = {None: ""}
    for step in set(column.steps):
        if step is not None:
            known[step] = key + value_text(step, per_unit)
    return [known[step] for step in column.steps]


def _by_mark(fields: tuple[str, ...], marks: tuple[int, ...]) -> Iterator[tuple[int, str]]:
    """Join the fields of one sample, apart for each mark."""
    if len(set(marks)) == 1:
        groups = {marks[0]: fields}
    else:
        groups = {
            mark: tuple(f for f, m in zip(fields, marks, strict=True) if m == mark)
            for mark in sorted(set(marks))
        }
    for mark, members in groups.items():
        joined = ",".join(filter(None, members))
        if joined:
            yield mark, joined


def lines_of(block: Block, names: tuple[str, ...], start: str, offset: int) -> Lines:
    """Write all lines of a block; Unix time in ms is its times plus `offset`.

    `start` is what `head` gave. Raises KeyError if a quantity is not known.
    """
    if not names:
        return Lines([], len(block.times))
    texts = zip(*(_fields(n, c) for n, c in zip(names, block.columns, strict=True)), strict=True)
    marks = zip(*(column.marks for column in block.columns), strict=True)
    lines: list[bytes] = []
    empty = 0
    for t, fields, told in zip(block.times, texts, marks, strict=True):
        before = len(lines)
        for mark, joined in _by_mark(fields, told):
            quality = _TAGS.get(mark, f"mark_{mark}")
            lines.append(f"{start},quality={quality} {joined} {t + offset}".encode())
        empty += len(lines) == before
    return Lines(lines, empty)


def time_of(line: bytes) -> int:
    """Read the time of a line, Unix ms."""
    return int(line.rpartition(b" ")[2])
