"""Whether an extractor does what it was commissioned for, judged at every use.

Told of every step which share of the commissioned clearance is likely; knows no channel and no
fan. A source that goes on is one of the things that the contest explains the air by.
"""

from typing import Any, NamedTuple

from ventwright.source.contest import Contest

LOW = 0.75
"""A share of the commissioned clearance below which a fan is told to fail."""
_SURE = 0.95
_STEPS = 3
_SETTLED_MS = 240_000
"""A minute of sureness, and not before the turmoil in which a fan starts is over. Ours: chosen on
simulated uses, for less than one false notice in 200 (tests/extraction_goals)."""
_WORTH_MS = 300_000
_VAGUE = 0.25
_WELL = 0.3


class Proof(NamedTuple):
    """What one use of an extractor showed: shares of the commissioned clearance."""

    share: float
    sigma: float
    low: float
    """Chance that less than that of it is there, 0..1."""
    since: int
    """When the use began, ms."""


class Prover:
    """One extractor on one channel, from use to use."""

    def __init__(self) -> None:
        """Know of no use yet."""
        self.low = False
        """Whether it was told that clearance is low."""
        self._since: int | None = None
        self._streak = 0
        self._last: Proof | None = None

    def follow(self, t: int, contest: Contest | None, since: int) -> tuple[str, Proof] | None:
        """See how a use goes that began at `since` ms; returns "low" once, if it is."""
        found = None if contest is None else contest.found()
        if found is None:
            return None
        self._last = Proof(*found, since)
        sure = self._last.low > _SURE and self._last.share < LOW
        self._streak = self._streak + 1 if sure and t - since >= _SETTLED_MS else 0
        if self._streak < _STEPS or self.low:
            return None
        self.low = True
        return "low", self._last

    def end(self, t: int) -> tuple[str, Proof] | None:
        """Let a use end at `t` ms; returns what it showed, if anything: "found" or "back"."""
        last, self._last, self._streak = self._last, None, 0
        if last is None or t - last.since < _WORTH_MS or last.sigma > _VAGUE:
            return None
        if self.low and last.low < _WELL:
            self.low = False
            return "back", last
        return "found", last

    def save(self) -> dict[str, Any]:
        """Give all as plain JSON."""
        return {"low": self.low, "streak": self._streak, "last": self._last and list(self._last)}

    def restore(self, saved: dict[str, Any], shift: int) -> None:
        """Take back what `save` gave; `shift` (ms) turns its times into those of this boot."""
        self.low, self._streak = saved["low"], saved["streak"]
        if saved["last"] is not None:
            share, sigma, low, since = saved["last"]
            self._last = Proof(share, sigma, low, since + shift)
