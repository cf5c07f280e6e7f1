"""What a walk has done so far, in a small file, so that it goes on after an interruption.

Knows phases and times (Unix ms), no levels: those are in the store anyway.
"""

import json
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from ventwright.settings.model import HOUR

FRESH_MS = 12 * HOUR
"""A walk that was left longer ago is begun anew."""


@dataclass
class Phase:
    """A stretch of time: `background`, `natural`, or the name of the extractor that ran."""

    what: str
    begins: int
    ends: int


@dataclass
class Notes:
    """A walk: what it measures with, and the phases that are done."""

    channel: str
    begun: int
    phases: list[Phase] = field(default_factory=list)

    def phase(self, what: str) -> Phase | None:
        """Find a phase that is done."""
        return next((phase for phase in self.phases if phase.what == what), None)


class Notebook:
    """The file; where it cannot be kept, the walk goes on without."""

    def __init__(self, path: Path) -> None:
        """Keep notes at `path`."""
        self.path = path
        self.kept = True
        """Whether the notes could be written."""

    def read(self, now: int) -> Notes | None:
        """Give the notes of a walk that was interrupted lately; None without one."""
        try:
            found = json.loads(self.path.read_text(encoding="utf-8"))
            phases = [Phase(**phase) for phase in found.pop("phases")]
            notes = Notes(**found, phases=phases)
            age = now - max([notes.begun, *(phase.ends for phase in phases)])
        except (OSError, ValueError, TypeError, KeyError, AttributeError):
            return None
        return notes if 0 <= age <= FRESH_MS else None

    def write(self, notes: Notes) -> None:
        """Keep the notes, whole or not at all."""
        part = self.path.with_suffix(".part")
        try:
            part.write_text(json.dumps(asdict(notes)), encoding="utf-8")
            part.replace(self.path)
        except OSError:
            self.kept = False

    def drop(self) -> None:
        """The walk is over."""
        with suppress(OSError):
            self.path.unlink()
