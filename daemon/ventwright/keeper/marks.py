"""Marks of test prints, which the keeper only records: it draws nothing from them.

A mark belongs to a trial by its name and says what begins now, or what happened before (`at`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ventwright.events import Request
    from ventwright.keeper.core import Core

PHASES = ("flush", "background", "print", "decay", "end", "label", "past", "discard")
"""What a mark can say. `label` adds to the labels, `past` gives all phases of a print at once by
`at`, `discard` takes the whole trial out; the others tell what begins with the mark."""

LONGEST_NAME = 60


def mark(core: Core, request: Request) -> dict[str, Any]:
    """Record a mark if it makes sense, and say so."""
    words = dict(request.words)
    name, phase = words.pop("name", ""), words.pop("phase", None)
    wrong = _wrong(name, phase, words)
    if wrong:
        return {"done": False, "says": wrong}
    body = {"phase": phase, "labels": words.pop("labels", {}), "who": request.who, **words}
    core.note("mark", name, body)
    return {"done": True, "says": f"{name}: {phase} is marked"}


def _wrong(name: Any, phase: Any, words: dict[str, Any]) -> str:
    if not isinstance(name, str) or not 0 < len(name) <= LONGEST_NAME:
        return f"a trial needs a name of up to {LONGEST_NAME} letters"
    if phase not in PHASES:
        return f'"{phase}" is no phase of a trial; {", ".join(PHASES)} are'
    for table in ("labels", "at"):
        if not isinstance(words.get(table, {}), dict):
            return f'"{table}" must be a table of names and values'
    if not all(type(t) is int for t in words.get("at", {}).values()):
        return '"at" must hold Unix times in whole ms'
    if "who" in words:
        return "who asks is told by the system, not by the request"
    return ""
