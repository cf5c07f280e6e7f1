"""Trials as they were marked: phases, labels and whether they may be used; knows no readings.

A trial is used only when its phases are whole: begun, printed, decayed, ended, in one boot.
What was discarded, or stopped half way, stays in the store and is told, never used.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

from ventwright.storage.reader import Boot, Reader, StoredEvent
from ventwright.trials.figures import Phase

ORDER = ("flush", "background", "print", "decay", "end")
NEEDED = ("background", "print", "decay", "end")
BATCHES = ("day", "spool", "batch")
"""Labels that say in what a print was made, not what it was."""

NUMBERS = ("grams", "printers")
NOTES = ("note",)
_MINUTE = 60_000


@dataclass(frozen=True)
class Trial:
    """One test print as it was marked; times in Unix ms."""

    name: str
    labels: dict[str, str] = field(default_factory=dict)
    marks: dict[str, int] = field(default_factory=dict)
    """When each phase began; "end" when the last one ended."""
    channel: str = ""
    discarded: str = ""
    """Why it was discarded; empty where it was not."""
    past: bool = False
    """Whether it was marked afterwards."""
    resumed: int = 0
    boots: frozenset[int] = frozenset()
    overlaps: str = ""
    """Another trial that was under way at the same time."""
    within: float | None = None
    """The distance to which the air was flushed, channel's unit."""

    @property
    def state(self) -> str:
        """Say whether it is whole, under way, or discarded."""
        if self.discarded:
            return "discarded"
        return "whole" if all(phase in self.marks for phase in NEEDED) else "open"

    @property
    def unusable(self) -> str:
        """Say why it is not used; empty where it is."""
        if self.discarded:
            return f"it was discarded: {self.discarded}"
        missing = [phase for phase in NEEDED if phase not in self.marks]
        if missing:
            return f"it is not whole ({', '.join(missing)} not marked): resume or discard it"
        times = [self.marks[phase] for phase in NEEDED]
        if sorted(times) != times or len(set(times)) < len(times):
            return "its phases do not follow one another"
        if self.overlaps:
            return f"{self.overlaps} was under way at the same time, and it is one air"
        if len(self.boots) > 1:
            return "the machine was started anew in the middle of it"
        return ""

    @property
    def phase(self) -> str:
        """Name the phase it is in, or was in last."""
        return max(self.marks, key=self.marks.__getitem__) if self.marks else ""

    @property
    def phases(self) -> tuple[Phase, ...]:
        """Lay out background, print and decay; empty unless it is whole."""
        if self.state != "whole":
            return ()
        pairs = pairwise(NEEDED)
        return tuple(Phase(one, self.marks[one], self.marks[two]) for one, two in pairs)


def condition(labels: Mapping[str, str], by: Iterable[str] = ()) -> str:
    """Name a condition by its labels; by all that describe it unless some are named."""
    left_out = {*BATCHES, *NUMBERS, *NOTES}
    chosen = list(by) or sorted(name for name in labels if name not in left_out)
    return ", ".join(labels.get(name, f"no {name}") for name in chosen) or "unlabelled"


def read_trials(reader: Reader) -> dict[str, Trial]:
    """Read every trial of a store, oldest first; raises sqlite3.Error."""
    boots, found, after = reader.boots(), dict[str, Trial](), 0
    while page := reader.events(after):
        after = page[-1].id
        for event in page:
            if event.kind == "mark":
                found[event.subject] = _marked(found.get(event.subject), event, boots[event.boot])
    return _side_by_side(found)


def _side_by_side(trials: dict[str, Trial]) -> dict[str, Trial]:
    """Name for each whole trial one that was under way meanwhile, if any was."""
    whole = sorted(
        (trial for trial in trials.values() if trial.state == "whole"),
        key=lambda trial: trial.marks["background"],
    )
    for one, other in pairwise(whole):
        if other.marks["background"] < one.marks["end"]:
            trials[one.name] = replace(trials[one.name], overlaps=other.name)
            trials[other.name] = replace(trials[other.name], overlaps=one.name)
    return trials


def _marked(before: Trial | None, event: StoredEvent, boot: Boot) -> Trial:
    """Take a mark; a trial that was discarded begins anew with the next phase."""
    body, phase, t = event.body, event.body.get("phase", "label"), event.t + boot.offset
    if before is None or (before.discarded and phase not in ("label", "discard")):
        before = Trial(event.subject)
    labels = {str(k): str(v) for k, v in body.get("labels", {}).items()}
    now = replace(before, labels={**before.labels, **labels})
    if body.get("channel"):
        now = replace(now, channel=str(body["channel"]))
    if isinstance(body.get("within"), int | float):
        now = replace(now, within=float(body["within"]))
    if phase == "discard":
        return replace(now, discarded=str(body.get("why") or "no reason given"))
    if phase == "label":
        return now
    if phase == "past":
        return replace(now, marks=_past(body), past=True)
    if phase in now.marks and "print" in now.marks:
        return replace(now, resumed=now.resumed + 1, boots=now.boots | {boot.id})
    boots = frozenset({boot.id}) if phase in ("flush", "background") else now.boots | {boot.id}
    return replace(now, marks={**now.marks, phase: t}, boots=boots)


def _past(body: Mapping[str, Any]) -> dict[str, int]:
    return {str(k): v for k, v in body.get("at", {}).items() if k in ORDER and type(v) is int}
