"""What was decided: every change of an alarm or an extractor, with its time and its reason."""

from typing import Any, NamedTuple

from ventwright.events import Action, Record
from ventwright.keeper.core import Core
from ventwright.replaying.items import Start
from ventwright.replaying.player import Listener
from ventwright.settings.durations import format_duration
from ventwright.words import below, expecting

DECIDED = ("alarm", "extractor")
"""Kinds of records that the core decides; the others tell what was seen or asked."""

_FIGURES = ("value", "unit", "setpoint", "baseline", "coverage", "peak")


class Decision(NamedTuple):
    """A change at `t` (Unix ms)."""

    t: int
    kind: str
    subject: str
    change: str
    why: str
    figures: dict[str, Any]


def decision(t: int, kind: str, subject: str, body: dict[str, Any]) -> Decision:
    """Make a decision of what a record says, at `t` Unix ms."""
    if kind == "extractor":
        change = f"{body['from']} to {body['to']}"
        return Decision(t, kind, subject, change, body["why"], {"on": body["on"]})
    figures = {key: body[key] for key in _FIGURES}
    return Decision(t, kind, subject, body["change"], _reason(body), figures)


def _reason(body: dict[str, Any]) -> str:
    over, unit = format_duration(body["over"]), body["unit"]
    if body["value"] is None:
        return f"the {body['compare']} over {over} is not known"
    edge = f"the setpoint is {body['setpoint']:g}"
    if body["change"] == "cleared":
        edge = f"it is {below(body)}"
    said = f"the {body['compare']} over {over} is {body['value']:.2f} {unit}"
    return f"{said}{'' if body['change'] == 'cleared' else expecting(body)}; {edge}"


class Decided(Listener):
    """Gathers all decisions."""

    def __init__(self) -> None:
        """Start with none."""
        self.decisions: list[Decision] = []
        self._offset = 0

    def begin(self, start: Start, core: Core) -> None:  # noqa: ARG002
        """Note how the log's clock relates to Unix time."""
        self._offset = start.offset

    def hear(self, action: Action) -> None:
        """Keep a decision."""
        if isinstance(action, Record) and action.kind in DECIDED:
            t = action.t + self._offset
            self.decisions.append(decision(t, action.kind, action.subject, action.body))
