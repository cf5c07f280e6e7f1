"""Guides one test print: flush, background, print, decay; the extractor held off under a ceiling.

It asks the keeper over its socket and marks every phase; it knows no store and no figures. Time,
the keeper and the person at the printer are passed in.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf
from typing import Any, Protocol

from ventwright.settings.durations import format_duration

LOOK_S = 5.0
"""How often the air is looked at, s."""

_BLIND_S = 120
"""So long without a trustworthy reading ends a trial, s."""

_STEADY_S = 60
"""So long the air must be near its baseline before it counts as flushed, s."""

_NEARER = 0.25
"""A gain is a quarter of the distance that is asked for,"""

_NO_NEARER_S = 300
"""and without one for so long the extractor has done what it can, s."""

LEASE_MS = 15 * 60_000
"""So long the extractor stays held off without word from the guide: one that was killed, or whose
machine went down, must not keep it off for a day."""

_RENEW_S = 5 * 60
"""How often the guide asks for it again, s."""

LONGEST_PRINT_MS = 24 * 3_600_000


class GuideError(RuntimeError):
    """The trial cannot go on; the text is one clear sentence."""


class Desk(Protocol):
    """The person at the printer, and the time that passes there."""

    def say(self, text: str) -> None:
        """Tell something."""

    def wait(self, seconds: float) -> bool:
        """Let time pass; True at once when the person answers (presses Enter)."""

    def now(self) -> float:
        """Tell the time, s, from any beginning."""


Ask = Callable[..., dict[str, Any]]
"""Asks the keeper: verb and words."""


def _no_labels() -> dict[str, str]:
    return {}


@dataclass(frozen=True)
class Plan:
    """One test print as it is to be made; times in ms, levels in the channel's unit."""

    name: str
    channel: str
    ceiling: float
    """At this one-minute mean the keeper lets the extractor decide again, and the trial ends."""
    labels: Mapping[str, str] = field(default_factory=_no_labels)
    within: float = 2.0
    """How near the baseline the air must be before the background begins."""
    flush: int = 45 * 60_000
    """How long the flush may take."""
    background: int = 20 * 60_000
    decay: int = 60 * 60_000
    look_s: float = LOOK_S
    """How often the air is looked at, s."""
    start: str = "flush"
    """The phase to begin with: a later one where a trial is resumed."""


class Guide:
    """One test print on its way."""

    def __init__(self, plan: Plan, ask: Ask, desk: Desk) -> None:
        """Guide `plan`."""
        self._plan = plan
        self._ask = ask
        self._desk = desk
        self._extractors: Sequence[str] = ()
        self._held_at = -inf
        self._seen = 0.0

    def run(self) -> None:
        """Go through all phases; raises GuideError. However it ends, the extractor is released."""
        self._extractors = tuple(self._status()["extractors"])
        try:
            self._phases()
        finally:
            self._release()

    def _phases(self) -> None:
        steps = {
            "flush": self._flush,
            "background": self._background,
            "print": self._print,
            "decay": self._decay,
        }
        names = list(steps)
        for name in names[names.index(self._plan.start) :]:
            if name != "flush":
                self._hold_off()
            steps[name]()
        self._mark("end")
        self._desk.say(
            f"{self._plan.name} is whole. `ventwright trial show {self._plan.name}` tells what was "
            "found; repeat the condition, for one print says nothing of the next."
        )

    def _flush(self) -> None:
        """Bring the air near its baseline, by the extractor where there is one."""
        plan, desk = self._plan, self._desk
        if plan.within <= 0:
            return
        self._mark("flush", within=plan.within)
        if self._near():
            desk.say("The air is near its baseline already.")
        elif self._extractors:
            desk.say("Flushing the air with the extractor. Keep doors and windows as in the print.")
            self._hold(True, plan.flush)
        else:
            desk.say("Air the room until the reading falls, then close it as it is to be in print.")
        if self._away() == inf:
            desk.say("The baseline is not known yet; that takes some minutes after a start.")
        self._until_near(bool(self._extractors))

    def _until_near(self, extracting: bool) -> None:
        """Wait for the baseline; stop the extractor once it gets the air no nearer.

        The air that it draws in may hold more than this room does by itself.
        """
        plan, desk = self._plan, self._desk
        until, since = desk.now() + plan.flush / 1000, desk.now()
        nearest, gained = inf, desk.now()
        while desk.now() - since < _STEADY_S:
            desk.wait(plan.look_s)
            if self._held_at > -inf:
                self._watch()
            away = self._away()
            since = since if away <= plan.within else desk.now()
            if away < nearest - _NEARER * plan.within:
                nearest, gained = away, desk.now()
            if extracting and nearest < inf and desk.now() - gained > _NO_NEARER_S:
                desk.say("More extraction brings it no nearer: waiting with the extractor off.")
                self._hold_off()
                extracting = False
            if desk.now() > until:
                raise GuideError(self._far(away))

    def _far(self, away: float) -> str:
        plan = self._plan
        if away == inf:
            return (
                f"the baseline of {plan.channel} was not known within "
                f"{format_duration(plan.flush)}: the keeper needs some quiet minutes after a start"
            )
        return (
            f"the air did not come within {plan.within:g} of its baseline in "
            f"{format_duration(plan.flush)}, the rest is {away:.1f}: look for another source, give "
            "it longer with --flush-for, or be content with less by --within"
        )

    def _near(self) -> bool:
        return self._away() <= self._plan.within

    def _away(self) -> float:
        """Tell how far the one-minute mean is from the baseline; infinite while unknown."""
        rise = self._look().get("rise")
        return inf if rise is None else abs(rise)

    def _background(self) -> None:
        plan = self._plan
        self._mark("background", channel=plan.channel, within=plan.within, ceiling=plan.ceiling)
        self._desk.say(
            f"Background for {format_duration(plan.background)}: printer cold and idle, doors and "
            "windows as in the print, nobody cooking, soldering or vacuuming."
        )
        self._pass(plan.background)

    def _print(self) -> None:
        desk = self._desk
        if self._plan.start != "print":  # else it was interrupted, and the print goes on
            desk.say("Start the print now, and press Enter as it starts to heat.")
            self._until_answered()
        self._mark("print")
        desk.say("Printing. Press Enter when it has ended.")
        self._until_answered()
        self._mark("decay")

    def _decay(self) -> None:
        if self._plan.start == "decay":
            self._mark("decay")
        self._desk.say(
            f"Decay for {format_duration(self._plan.decay)}: leave everything as it is, keep out."
        )
        self._pass(self._plan.decay)

    def _pass(self, ms: int) -> None:
        until = self._desk.now() + ms / 1000
        while (left := until - self._desk.now()) > 0:
            self._desk.wait(min(self._plan.look_s, left))
            self._watch()

    def _until_answered(self) -> None:
        until = self._desk.now() + LONGEST_PRINT_MS / 1000
        while not self._desk.wait(self._plan.look_s):
            self._watch()
            if self._desk.now() > until:
                raise GuideError("nobody answered for a day: the trial is left open")

    def _watch(self) -> None:
        """See that the trial can go on: readings come, and the extractor is still held off."""
        found = self._look()
        if found["quality"] == "good" or not self._seen:
            self._seen = self._desk.now()
        if self._desk.now() - self._seen > _BLIND_S:
            self._discard(f"{self._plan.channel} gave no good reading: {found['quality']}")
        for name, told in self._status_extractors().items():
            if told["state"] not in ("held off",):
                self._discard(
                    f"{name} was let go by the keeper ({told['state']}): the ceiling of "
                    f"{self._plan.ceiling:g} was reached, or somebody released it"
                )
        self._hold_off()

    def _discard(self, why: str) -> None:
        self._mark("discard", why=why[:180])
        raise GuideError(
            f"{why}. {self._plan.name} is discarded; what was recorded stays. Begin it anew under "
            "the same name"
        )

    def _hold_off(self) -> None:
        """Hold off, or go on holding where the last word is old."""
        plan = self._plan
        if self._desk.now() - self._held_at < _RENEW_S:
            return
        if plan.ceiling <= 0:
            raise GuideError("a ceiling above 0 is needed: above it extraction must not be held")
        self._hold(False, LEASE_MS)
        self._held_at = self._desk.now()

    def _hold(self, on: bool, ms: int) -> None:
        words: dict[str, Any] = {"on": on, "for": ms}
        if not on:
            words["ceiling"] = {"channel": self._plan.channel, "value": self._plan.ceiling}
        for name in self._extractors:
            self._must(self._ask("hold", name=name, **words))

    def _release(self) -> None:
        for name in self._extractors:
            self._ask("release", name=name)

    def _mark(self, phase: str, **words: Any) -> None:
        labels = dict(self._plan.labels) if phase == self._plan.start else {}
        self._must(self._ask("mark", name=self._plan.name, phase=phase, labels=labels, **words))

    def _must(self, answer: Mapping[str, Any]) -> None:
        if not answer["done"]:
            raise GuideError(f"the keeper refused: {answer['says']}")

    def _status(self) -> dict[str, Any]:
        return self._ask("status")

    def _status_extractors(self) -> dict[str, Any]:
        found: dict[str, Any] = self._status()["extractors"]
        return found

    def _look(self) -> dict[str, Any]:
        part, _, quantity = self._plan.channel.partition(".")
        parts = self._status()["parts"]
        if part not in parts or quantity not in parts[part]["channels"]:
            there = [f"{p}.{q}" for p, told in parts.items() for q in told["channels"]]
            raise GuideError(
                f'the keeper has no channel "{self._plan.channel}"; it has: {", ".join(there)}'
            )
        found: dict[str, Any] = parts[part]["channels"][quantity]
        return found
