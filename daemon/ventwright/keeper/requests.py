"""What somebody may ask of a running keeper, and what is answered.

Every request is answered with {"done": bool, "says": one sentence}; each is recorded.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from ventwright.extraction.extractor import Ceiling, Hold
from ventwright.keeper.ceilings import ceiling_asked
from ventwright.keeper.commissioned import commission
from ventwright.keeper.marks import mark
from ventwright.settings.durations import format_duration

if TYPE_CHECKING:
    from ventwright.alarms.alarm import Alarm
    from ventwright.events import Request
    from ventwright.keeper.core import Core

Answer = dict[str, Any]

LONGEST_MS = 7 * 86_400_000
"""The longest time for which anything may be held or shelved: a week."""


def _said(done: bool, says: str) -> Answer:
    return {"done": done, "says": says}


def answer(core: Core, request: Request) -> Answer:
    """Do what is asked, as far as it makes sense, and say so."""
    if request.verb == "mark":
        return mark(core, request)
    if request.verb not in _VERBS:
        return _said(False, f'"{request.verb}" cannot be asked; {_listed(_VERBS)} and mark can')
    kind, do = _VERBS[request.verb]
    things: dict[str, Any] = core.alarms if kind == "alarm" else core.extractors
    name = str(request.words.get("name", ""))
    if name not in things:
        there = _listed(things) if things else "none"
        return _said(False, f'there is no {kind} "{name}"; there is: {there}')
    return do(core, request, things[name])


def _listed(names: Any) -> str:
    return ", ".join(names)


def _alarm_changed(core: Core, alarm: Alarm, changes: list[str], nothing: str) -> Answer:
    for change in changes:
        core.tell(alarm, change)
    if not changes:
        return _said(False, f"{alarm.name} {nothing}; it is {alarm.state.value}")
    return _said(True, f"{alarm.name} is now: {alarm.state.value}")


def _acknowledge(core: Core, _request: Request, alarm: Alarm) -> Answer:
    return _alarm_changed(core, alarm, alarm.acknowledge(), "has nothing to acknowledge")


def _reset(core: Core, _request: Request, alarm: Alarm) -> Answer:
    return _alarm_changed(core, alarm, alarm.reset(), "has nothing to reset")


def _unshelve(core: Core, _request: Request, alarm: Alarm) -> Answer:
    return _alarm_changed(core, alarm, alarm.unshelve(core.now), "is not shelved")


def _take_out(core: Core, _request: Request, alarm: Alarm) -> Answer:
    return _alarm_changed(core, alarm, alarm.take_out(), "")


def _put_back(core: Core, _request: Request, alarm: Alarm) -> Answer:
    return _alarm_changed(core, alarm, alarm.put_back(core.now), "is in service already")


def _duration(request: Request) -> int | None:
    """The time asked for in ms, or None if it is not a sensible one."""
    ms = request.words.get("for")
    return ms if type(ms) is int and 0 < ms <= LONGEST_MS else None


_NO_DURATION = f"how long? a time up to {format_duration(LONGEST_MS)} is needed"


def _shelve(core: Core, request: Request, alarm: Alarm) -> Answer:
    ms = _duration(request)
    if ms is None:
        return _said(False, _NO_DURATION)
    return _alarm_changed(core, alarm, alarm.shelve(core.now + ms), "cannot be shelved")


def _hold(core: Core, request: Request, extractor: Any) -> Answer:
    ms, on = _duration(request), request.words.get("on")
    if ms is None:
        return _said(False, _NO_DURATION)
    if not isinstance(on, bool):
        return _said(False, "on or off? that is needed")
    try:
        ceiling = _ceiling(core, request, on)
    except ValueError as error:
        return _said(False, str(error))
    extractor.hold = Hold(on, core.now + ms, request.who, ceiling)
    word = "on" if on else "off"
    above = f", or until {ceiling.channel} reaches {ceiling.value:g}" if ceiling else ""
    return _said(True, f"{extractor.name} is held {word} for {format_duration(ms)}{above}")


def _ceiling(core: Core, request: Request, on: bool) -> Ceiling | None:
    words = request.words.get("ceiling")
    if words is None:
        return None
    if on:
        raise ValueError("a ceiling is for holding off")
    return ceiling_asked(words, core.channels, core.now)


def _release(_core: Core, _request: Request, extractor: Any) -> Answer:
    if extractor.hold is None:
        return _said(False, f"{extractor.name} is not held; it is {extractor.state.value}")
    extractor.hold = None
    return _said(True, f"{extractor.name} decides by itself again")


_VERBS: dict[str, tuple[str, Callable[[Core, Request, Any], Answer]]] = {
    "acknowledge": ("alarm", _acknowledge),
    "reset": ("alarm", _reset),
    "shelve": ("alarm", _shelve),
    "unshelve": ("alarm", _unshelve),
    "take out of service": ("alarm", _take_out),
    "put back in service": ("alarm", _put_back),
    "hold": ("extractor", _hold),
    "release": ("extractor", _release),
    "commissioned": ("extractor", commission),
}
