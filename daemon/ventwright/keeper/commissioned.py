"""What this room was found to do when it was measured: loss rates with each extractor off and on.

The keeper keeps the newest finding of each extractor and records it; it does not measure.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from ventwright.events import Request
    from ventwright.keeper.core import Core

_FASTEST = 1000.0


class Commissioned(NamedTuple):
    """A finding: rates in 1/h with standard errors, volume in m³."""

    channel: str
    volume: float
    natural: float
    """Loss rate with extraction off."""
    natural_error: float
    clearance: float
    """Loss rate with this extractor on."""
    clearance_error: float
    points: int
    method: str
    t: int
    """When it was told, ms of the boot."""


_NUMBERS = ("volume", "natural", "natural_error", "clearance", "clearance_error")


def commission(core: Core, request: Request, extractor: Any) -> dict[str, Any]:
    """Keep what is told of an extractor if it makes sense, and say so."""
    words = request.words
    wrong = _wrong(words, list(core.channels))
    if wrong:
        return {"done": False, "says": wrong}
    found = Commissioned(
        channel=str(words["channel"]),
        points=int(words["points"]),
        method=str(words["method"]),
        t=core.now,
        **{name: float(words[name]) for name in _NUMBERS},
    )
    core.commissioned[extractor.name] = found
    core.sources.commissioned()
    body = {**found._asdict(), "who": request.who}
    core.note("commissioned", extractor.name, body)
    rates = f"{found.natural:.2f}/h without it, {found.clearance:.2f}/h with it"
    return {"done": True, "says": f"{extractor.name} is commissioned: {rates}"}


def _wrong(words: dict[str, Any], channels: list[str]) -> str:
    if words.get("channel") not in channels:
        return f'there is no channel "{words.get("channel")}"; there is: {", ".join(channels)}'
    for name in _NUMBERS:
        value = words.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            return f'"{name}" must be a number'
        if not math.isfinite(value) or value < 0:
            return f'"{name}" is {value}; a number from 0 is needed'
    if not words["volume"]:
        return '"volume" must be above 0 m³'
    if not words["natural"] <= words["clearance"] <= _FASTEST:
        return f'"clearance" must be at least "natural", and at most {_FASTEST:g} 1/h'
    if type(words.get("points")) is not int or not isinstance(words.get("method"), str):
        return '"points" must be a whole number and "method" text'
    return ""


def save(found: dict[str, Commissioned]) -> dict[str, Any]:
    """Give what is known as plain JSON."""
    return {name: one._asdict() for name, one in found.items()}


def restore(saved: dict[str, Any], shift: int) -> dict[str, Commissioned]:
    """Take back what `save` gave; `shift` (ms) turns its times into those of this boot."""
    return {name: Commissioned(**{**one, "t": one["t"] + shift}) for name, one in saved.items()}
