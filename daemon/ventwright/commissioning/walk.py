"""Walks the owner through measuring the room: background, natural decay, one decay an extractor.

It asks the keeper for everything and passes time by what it is given (`Place`); it touches no
relay. An extractor is only ever held for a few minutes at a time, and with a ceiling where it is
held off: whatever becomes of the walk, the keeper is free to extract again soon.
"""

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, Protocol

from ventwright.commissioning.findings import Background, Rate, background, rate
from ventwright.commissioning.levels import Levels
from ventwright.commissioning.notebook import Notebook, Notes, Phase
from ventwright.settings.model import MINUTE

HOLD_MS = 4 * MINUTE
EVERY_S = 60
_OFTEN_S = 5
_TOLD_EVERY = 5
_PATIENCE = 24
_ENOUGH = 0.1
"""Half the interval of a rate, as a share of it, at which a decay has been watched long enough."""
_GONE = {"natural": 0.5, "extractor": 0.9}
"""The share of the rise that must be gone as well: an extractor's background comes from its end."""


class StoppedError(Exception):
    """The walk cannot go on; a sentence that says why and what to do."""


class Place(Protocol):
    """Where a walk takes place: a keeper, a store, time and a person."""

    def ask(self, verb: str, **words: Any) -> dict[str, Any]:
        """Ask the keeper; raises NotRunningError."""

    def levels(self, channels: Sequence[str], begins: int, ends: int) -> dict[str, Levels]:
        """Give the levels of channels between two times, Unix ms."""

    def wait(self, seconds: float) -> None:
        """Let time pass."""

    def say(self, text: str) -> None:
        """Tell the person."""

    def confirm(self, text: str, meanwhile: Callable[[], None]) -> None:
        """Ask the person to do something; call `meanwhile` every minute until it is done."""


class Plan(NamedTuple):
    """What is measured, and with what."""

    channel: str
    unit: str
    beside: Sequence[str]
    """Channels of other parts that measure the same."""
    extractors: Sequence[str]
    least: float
    """The rise that a decay has to begin with."""
    ceiling: float
    settle: int
    """What is left out after a switch, ms."""
    background: int
    """How long the background is watched, ms."""
    longest: int
    """How long a decay is watched at most, ms."""


class Walked(NamedTuple):
    """What a walk found."""

    background: dict[str, Background]
    natural: Rate
    extractors: dict[str, Rate]


class Walk:
    """One walk."""

    def __init__(self, place: Place, plan: Plan, notebook: Notebook) -> None:
        """Prepare; nothing is asked yet."""
        self._place = place
        self._plan = plan
        self._notebook = notebook
        self._channels = [plan.channel, *plan.beside]
        self._notes = Notes(plan.channel, 0)

    def run(self) -> Walked:
        """Walk through all of it; raises StoppedError, NotRunningError. Releases every hold."""
        now = self._now()
        before = self._notebook.read(now)
        self._notes = Notes(self._plan.channel, now)
        if before and before.channel == self._plan.channel and before.phases:
            self._notes = before
            done = ", ".join(phase.what for phase in before.phases)
            self._place.say(f"A walk was interrupted; it goes on. Done already: {done}.")
        whole = False
        try:
            found = self._steps()
            whole = True
            return found
        finally:
            self._release()
            if not whole:
                self._place.say("The extractors decide by themselves again.")

    def _steps(self) -> Walked:
        known = self._background()
        natural = self._decay("natural", "", known)
        found = {name: self._decay(name, name, known) for name in self._plan.extractors}
        self._notebook.drop()
        return Walked(known, natural, found)

    def _status(self) -> dict[str, Any]:
        return self._place.ask("status")

    def _now(self) -> int:
        status = self._status()
        return int(status["now"] + status["offset"])

    def _level(self) -> float:
        """Give the level now, over a minute; waits while there is none."""
        part, _, name = self._plan.channel.partition(".")
        for _ in range(_PATIENCE):
            level = self._status()["parts"][part]["channels"][name]["mean over 1 min"]
            if level is not None:
                return float(level)
            self._place.wait(_OFTEN_S)
        raise StoppedError(f"{self._plan.channel} gives no good readings; see: ventwright status")

    def _hold(self, running: str) -> None:
        """Hold every extractor off, but the one that is to run, for a few minutes."""
        for name in self._plan.extractors:
            words: dict[str, Any] = {"name": name, "on": name == running, "for": HOLD_MS}
            if name != running:
                words["ceiling"] = {"channel": self._plan.channel, "value": self._plan.ceiling}
            said = self._place.ask("hold", **words)
            if not said["done"]:
                raise StoppedError(
                    f"{name} could not be held: {said['says']}. Start the walk again when the "
                    "air is better, or with a higher --ceiling; it goes on where it was."
                )

    def _release(self) -> None:
        for name in self._plan.extractors:
            self._place.ask("release", name=name)

    def _await(self, running: str) -> int:
        """Wait until the relays stand as held; returns since when, Unix ms."""
        for _ in range(_PATIENCE * 12):
            status = self._status()
            stands = {n: status["extractors"][n]["on"] for n in self._plan.extractors}
            if all(on == (name == running) for name, on in stands.items()):
                return int(status["now"] + status["offset"])
            self._place.wait(_OFTEN_S)
            self._hold(running)
        raise StoppedError("the extractors do not switch as asked; see: ventwright status")

    def _check(self, running: str) -> None:
        """See to it that nobody, and no ceiling, has taken the extractors away."""
        extractors = self._status()["extractors"]
        for name in self._plan.extractors:
            if extractors[name]["on"] != (name == running):
                level, unit = self._level(), self._plan.unit
                raise StoppedError(
                    f"{name} is {extractors[name]['state']} now: somebody switched it, or the air "
                    f"reached the ceiling of {self._plan.ceiling:g} {unit} (it is at {level:.0f}). "
                    "Start the walk again when the air is better; it goes on where it was."
                )

    def _background(self) -> dict[str, Background]:
        phase = self._notes.phase("background")
        if phase is None:
            phase = self._watch_background()
            self._done(phase)
        levels = self._place.levels(self._channels, phase.begins, phase.ends)
        try:
            known = {channel: background(them) for channel, them in levels.items() if them}
            own = known[self._plan.channel]
        except (ValueError, KeyError) as error:
            self._forget(phase)
            raise StoppedError(
                f"The background could not be measured: {error}. Start the walk again; it measures "
                "the background anew."
            ) from error
        self._place.say(f"Background: {own.level:.1f} ± {own.error:.1f} {self._plan.unit}.")
        return known

    def _watch_background(self) -> Phase:
        minutes = self._plan.background // MINUTE
        self._place.say(
            f"1. Background, {minutes} min: no printer runs, windows and doors stay as they are "
            "for all of the walk, nobody stirs up dust or breathes at the sensor."
        )
        self._hold("")
        begins = self._await("")
        for _ in range(minutes):
            self._place.wait(EVERY_S)
            self._hold("")
            self._check("")
        return self._until_stored(Phase("background", begins, self._now()))

    def _until_stored(self, phase: Phase) -> Phase:
        """Wait until the readings of a phase are in the store, a minute at most."""
        self._place.wait(EVERY_S)
        return phase

    def _done(self, phase: Phase) -> None:
        self._notes.phases.append(phase)
        self._notebook.write(self._notes)

    def _forget(self, phase: Phase) -> None:
        """Do not go on from a phase that tells nothing."""
        self._notes.phases.remove(phase)
        self._notebook.write(self._notes)

    def _decay(self, what: str, running: str, known: dict[str, Background]) -> Rate:
        phase = self._notes.phase(what)
        if phase is None:
            self._fill(what, known[self._plan.channel].level)
            phase = self._watch_decay(what, running, known)
            self._done(phase)
        found = self._measured(phase, known)
        self._place.say(f"   {_title(what)}: {said(found)}")
        return found

    def _fill(self, what: str, clean: float) -> None:
        """Have the air made dirty enough for a decay to be seen, if it is not."""
        self._place.say(f"{_number(what, self._plan)}. {_title(what)}.")
        plan = self._plan
        while self._level() - clean < plan.least:
            self._hold("")
            self._place.confirm(
                f"   Bring the level at least {plan.least:g} {plan.unit} above the background "
                f"(now {self._level():.0f}, ceiling {plan.ceiling:g}): {_how(plan.channel)}. "
                "When the source is off, leave the room and say so.",
                lambda: self._hold(""),
            )

    def _watch_decay(self, what: str, running: str, known: dict[str, Background]) -> Phase:
        self._hold(running)
        phase = Phase(what, self._await(running) + self._plan.settle, 0)
        self._place.say("   Watching; nothing is to be done, doors stay closed.")
        for minute in range(1, self._plan.longest // MINUTE + 1):
            self._place.wait(EVERY_S)
            self._hold(running)
            self._check(running)
            phase.ends = self._now()
            if minute % _TOLD_EVERY == 0 and self._tell(minute, phase, known):
                break
        return self._until_stored(phase)

    def _tell(self, minute: int, phase: Phase, known: dict[str, Background]) -> bool:
        """Say how far it is; returns whether it has been watched long enough."""
        found = self._measured(phase, known)
        level = f"   {minute} min: {self._level():.0f} {self._plan.unit}"
        if not found.decays or found.low <= 0:
            self._place.say(f"{level}.")
            return False
        self._place.say(f"{level}, so far {found.words}.")
        gone = _GONE["natural" if phase.what == "natural" else "extractor"]
        sure = found.high - found.rate <= _ENOUGH * found.rate
        return not found.why and sure and found.decays[0].fallen >= gone

    def _measured(self, phase: Phase, known: dict[str, Background]) -> Rate:
        """Measure a phase; with an extractor on the background is another one, and is fitted."""
        levels = self._place.levels(self._channels, phase.begins, phase.ends)
        return rate(self._plan.channel, levels, known if phase.what == "natural" else {})


def said(found: Rate) -> str:
    """Say a rate, or why there is none."""
    if not found.decays:
        return f"nothing measured: {'; '.join(found.why)}."
    figure = f"{found.words}, R² {found.r2:.3f}"
    return f"{figure}, but {'; '.join(found.why)}." if found.why else f"{figure}."


def _title(what: str) -> str:
    return "Natural decay, all extractors off" if what == "natural" else f"Decay with {what} on"


def _number(what: str, plan: Plan) -> int:
    return 2 if what == "natural" else 3 + list(plan.extractors).index(what)


def _how(channel: str) -> str:
    if channel.endswith(".co2"):
        return "breathe in the room for a while, or let a little CO2 out of a soda bottle"
    return "run a short print"
