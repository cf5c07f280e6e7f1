"""Puts the type of a field into words: "a number above 0 in m³", "text in quotes"."""

import types
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, GroupedMetadata, Gt, Le, Lt, MinLen, MultipleOf

from ventwright.settings.durations import DurationMark, format_duration
from ventwright.settings.findings import listed, show

Bounds = tuple[int, int]
"""The shortest and the longest allowed length of time, ms."""

_PLAIN: dict[Any, str] = {
    str: "text in quotes",
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    Path: 'a path in quotes that begins with "/" (or "./": beside this file)',
}
_PARTS: tuple[tuple[type[Any], str, str], ...] = (
    (Gt, "gt", "above"),
    (Ge, "ge", "of at least"),
    (Lt, "lt", "below"),
    (Le, "le", "of at most"),
    (MultipleOf, "multiple_of", "that is a multiple of"),
)


def describe(hint: Any, unit: str = "", bounds: Bounds | None = None, key: str = "") -> str:
    """Say what a field of this type takes; empty for types that nobody put into words."""
    plain, marks = unwrap(hint)
    if any(isinstance(mark, DurationMark) for mark in marks):
        return _duration(bounds)
    if get_origin(plain) is Literal:
        return listed(show(choice, key) for choice in get_args(plain))
    if get_origin(plain) is dict and key == "calibration":
        return "a table [parts.NAME.calibration.QUANTITY]"
    if get_origin(plain) in (tuple, list):
        return _list(get_args(plain)[0])
    words = _PLAIN.get(plain, "")
    return f"{words}{_limits(marks)}{f' in {unit}' if unit else ''}" if words else ""


def _list(inner: Any) -> str:
    return 'a list such as ["a", "b"]' if unwrap(inner)[0] is str else "a list such as [1, 2]"


def _duration(bounds: Bounds | None) -> str:
    between = ""
    if bounds:
        between = f" from {format_duration(bounds[0])} to {format_duration(bounds[1])}"
    return f'a length of time in quotes{between}, such as "5 min" or "1 h 30 min",'


def unwrap(hint: Any) -> tuple[Any, list[Any]]:
    """Take a type out of Annotated and `| None`, and give the marks that it carried."""
    marks: list[Any] = []
    while True:
        if get_origin(hint) is Annotated:
            hint, *found = get_args(hint)
            marks += _flat(found)
        elif get_origin(hint) in (Union, types.UnionType) and len(rest := _some(hint)) == 1:
            hint = rest[0]
        else:
            return hint, marks


def _some(union: Any) -> list[Any]:
    return [choice for choice in get_args(union) if choice is not type(None)]


def _flat(marks: Iterable[Any]) -> Iterator[Any]:
    for mark in marks:
        if isinstance(mark, GroupedMetadata):
            yield from _flat(mark)
        else:
            yield mark


def _limits(marks: list[Any]) -> str:
    low, high = (_first(marks, kind, name) for kind, name in ((Ge, "ge"), (Le, "le")))
    if low is not None and high is not None:
        return f" from {low:g} to {high:g}"
    words = [
        f" {word} {value:g}"
        for kind, name, word in _PARTS
        if (value := _first(marks, kind, name)) is not None
    ]
    filled = any(isinstance(mark, MinLen) and mark.min_length for mark in marks)
    return " and".join(words) + (", not empty," if filled else "")


def _first(marks: list[Any], kind: type[Any], name: str) -> Any:
    return next((getattr(mark, name) for mark in marks if isinstance(mark, kind)), None)
