"""What the core follows of each part and relay: is it there, since when not, was that told.

Both are told once: when they have been away for a while, and when they are back.
"""

from typing import Any

from ventwright.means.channel import Channel, reach_of
from ventwright.quality.judge import Judge, PartKind
from ventwright.quality.marks import Quality
from ventwright_drivers.quantities import QUANTITIES

LOST_AFTER_MS = 10_000
"""A part is told to be lost after this time without a usable sample since the first trouble."""

_USABLE = (Quality.GOOD, Quality.WARMING_UP, Quality.HUMID)

_AILMENTS = {
    Quality.OUT_OF_RANGE: "its values are out of range",
    Quality.STUCK: "it repeats the same values",
    Quality.INCONSISTENT: "its values contradict each other",
}


class PartWatch:
    """A part: its judge, its channels, and whether it is there."""

    def __init__(self, name: str, kind: PartKind, kept: tuple[str, ...], t: int) -> None:
        """Know nothing of the part at `t` ms; `kept` are the quantities that the owner wants."""
        self.name = name
        self.kind = kind
        self.judge = Judge(kind, kept)
        self.kept = kept
        self.channels = [Channel(f"{name}.{q}", QUANTITIES[q], kind.pace) for q in kept]
        self.laser_ms = 0
        """How long the laser has been on, as far as we know: it is, while samples come."""
        self._together = reach_of(kind.period) if kind.optical else 0
        self.trouble: tuple[int, str] | None = None
        self.lost = False
        self.partly = False
        """Whether the trouble leaves some of its channels usable."""
        self.marks = b""
        self.fault = ""
        self.heard = t
        """When the part was last started or gave a sample, usable or not, ms."""

    def heard_at(self, t: int, marks: bytes, fault: str) -> str:
        """Note a sample; returns what ails the part, if that spoils any or all of it."""
        if t - self.heard <= self._together:
            self.laser_ms += t - self.heard
        self.heard, self.marks, self.fault = t, marks, fault
        if self.usable:
            stuck = _AILMENTS[Quality.STUCK] if Quality.STUCK in marks else ""
            return fault if Quality.FAILED in marks else stuck
        return fault or _AILMENTS.get(Quality(min(marks)), "it gives no values")

    @property
    def usable(self) -> bool:
        """Whether some channel of the newest sample is good, soon will be, or is in wet air."""
        return any(mark in self.marks for mark in _USABLE)

    @property
    def due(self) -> int | None:
        """When a trouble becomes a loss, ms."""
        return None if self.trouble is None or self.lost else self.trouble[0] + LOST_AFTER_MS

    def save_wear(self) -> list[Any]:
        """Give what is worn: the model, and how long its laser was on, ms."""
        return [self.kind.model, self.laser_ms]

    def restore_wear(self, saved: list[Any]) -> None:
        """Take back what `save_wear` gave; a part of another model is a new one."""
        if saved[0] == self.kind.model:
            self.laser_ms = int(saved[1])

    def failing(self, t: int, why: str, partly: bool = False) -> None:
        """Note the first of a run of troubles; the whole after a part of it is a new run."""
        worse = self.partly and not partly
        if self.trouble is None or worse:
            self.trouble, self.lost = (t, why), False
        else:
            self.trouble = (self.trouble[0], why)
        self.partly = partly

    def well(self) -> bool:
        """Note a usable sample; True if that is news."""
        back, self.lost, self.trouble, self.partly = self.lost, False, None, False
        return back

    def gone(self, t: int) -> bool:
        """Tell whether the part has to be reported lost at `t` ms; True once.

        A part of which nothing is heard at all is lost too: its driver may hang.
        """
        quiet = t - self.heard >= self.kind.silence + LOST_AFTER_MS
        if quiet and (self.trouble is None or self.partly):
            self.failing(self.heard, "nothing is heard of it")
        if self.due is None or t < self.due:
            return False
        self.lost = True
        return True

    def stale(self, t: int) -> bool:
        """Tell whether the newest sample is too old to speak for `t` ms."""
        return t - self.heard > reach_of(self.kind.pace)


class RelayWatch:
    """A relay: what was last reported of it."""

    def __init__(self) -> None:
        """Know nothing of the relay yet."""
        self.failing = ""
        self.state: bool | None = None
        self.commanded: bool | None = None

    def report(self, commanded: bool, state: bool | None, why: str) -> str | None:
        """Take a report; returns "failed" or "back" if that is news."""
        if not why and state is not None and state != commanded:
            words = {True: "on", False: "off"}
            why = f"commanded {words[commanded]}, but it reads back {words[state]}"
        before, self.failing = self.failing, why
        self.state, self.commanded = state, commanded
        if bool(before) == bool(why):
            return None
        return "failed" if why else "back"
