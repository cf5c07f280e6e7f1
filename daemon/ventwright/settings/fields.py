"""Checks one table against one dataclass, field by field, so that every mistake is found.

The types in the dataclass say what is allowed; pydantic judges, our words tell.
"""

import dataclasses
import json
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, get_type_hints

from pydantic import TypeAdapter, ValidationError

from ventwright.settings.describe import describe, unwrap
from ventwright.settings.durations import DurationMark
from ventwright.settings.findings import Findings, Place
from ventwright.settings.rules import BOUNDS, HINTS, UNITS

_ABSENT = object()


def check(cls: type[Any], table: Mapping[str, Any], place: Place, findings: Findings) -> Any:
    """Give the checked values of all good fields (defaults included) as a dict."""
    hints = get_type_hints(cls, include_extras=True)
    values: dict[str, Any] = {}
    for field in dataclasses.fields(cls):
        value = table.get(field.name, _ABSENT)
        one = _Field(hints[field.name], (*place, field.name), findings)
        found = _default(field, one) if value is _ABSENT else one.judge(value)
        if found is not _ABSENT:
            values[field.name] = found
    return values


def build(cls: type[Any], values: dict[str, Any], place: Place, findings: Findings) -> Any:
    """Make the dataclass if all its fields are good, else None."""
    wanted = {
        field.name: values[field.name] for field in dataclasses.fields(cls) if field.name in values
    }
    if len(wanted) < len(dataclasses.fields(cls)):
        return None
    try:
        return cls(**wanted)
    except ValueError as error:
        findings.add(place, "does not fit together", str(error))
        return None


def unknown_keys(
    table: Mapping[str, Any], allowed: set[str], place: Place, findings: Findings
) -> None:
    """Remember every key of the table that is not allowed there."""
    for key in table:
        if key not in allowed:
            findings.unknown((*place, key), allowed)


def names(cls: type[Any]) -> set[str]:
    """List the keys of a dataclass."""
    return {field.name for field in dataclasses.fields(cls)}


def _default(field: Any, one: "_Field") -> Any:
    if field.default is not dataclasses.MISSING:
        return field.default
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    one.miss()
    return _ABSENT


@cache
def _adapter(hint: Any) -> TypeAdapter[Any]:
    return TypeAdapter(hint)


class _Field:
    """One field at one place."""

    def __init__(self, hint: Any, place: Place, findings: Findings) -> None:
        self.hint, self.place, self.findings = hint, place, findings
        self.kind = f"{place[0]}.{place[-1]}"

    def judge(self, value: Any) -> Any:
        """Give the checked value, or _ABSENT after remembering what is wrong."""
        why = ""
        for candidate in self._readings(value):
            try:
                good = _adapter(self.hint).validate_json(_json(candidate), strict=True)
            except ValidationError as error:
                why = why or _reason(error)
            else:
                return good if self._fits(candidate, good) else self._refuse(value, "")
        return self._refuse(value, why)

    def miss(self) -> None:
        """Remember that the field is missing."""
        self.findings.add(self.place, "is missing", self._allowed(""), HINTS.get(self.kind, ""))

    def _readings(self, value: Any) -> list[Any]:
        """List what a value can mean: an environment variable may be text or written as TOML."""
        if self.place not in self.findings.variables or not isinstance(value, str):
            return [value]
        try:
            return [value, tomllib.loads(f"value = {value}")["value"]]
        except (ValueError, RecursionError):
            return [value]

    def _fits(self, written: Any, good: Any) -> bool:
        plain, marks = unwrap(self.hint)
        if plain is Path:
            return str(written).startswith(("/", "./", "../"))
        bounds = BOUNDS.get(self.kind)
        if bounds is None or not any(isinstance(mark, DurationMark) for mark in marks):
            return True
        return bounds[0] <= int(good) <= bounds[1]

    def _refuse(self, value: Any, why: str) -> Any:
        self.findings.refuse(self.place, value, self._allowed(why), HINTS.get(self.kind, ""))
        return _ABSENT

    def _allowed(self, why: str) -> str:
        words = describe(self.hint, UNITS.get(self.kind, ""), BOUNDS.get(self.kind), self.place[-1])
        return f"{words} is needed" if words else why or "another value is needed"


def _json(value: Any) -> str:
    return json.dumps(value, default=lambda _: {})


def _reason(error: ValidationError) -> str:
    """Take pydantic's own words, for types that have none of ours."""
    message = error.errors(include_url=False, include_input=False)[0]["msg"]
    return message[:1].lower() + message[1:]
