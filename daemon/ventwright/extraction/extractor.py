"""When an extractor runs: its states, minimum times, run-on, holding by hand, blindness.

A function of what it is told: it asks no clock and touches no relay. `on` is what the relay is
to be; between two changes of `on` the minimum times always lie, whoever asked.
"""

from enum import StrEnum
from typing import Any, NamedTuple

from ventwright.settings.durations import format_duration
from ventwright.settings.model import Extractor as ExtractorSettings

NEVER = 1 << 62
"""A time that does not come, ms."""


class State(StrEnum):
    """A state of the extractor."""

    STANDBY = "standby"
    EXTRACTING = "extracting"
    RUN_ON = "run-on"
    HELD_ON = "held on"
    HELD_OFF = "held off"
    BLIND = "blind"


class Ceiling(NamedTuple):
    """How dirty the air of a channel may become while the extractor is held off."""

    channel: str
    value: float
    """In the channel's unit."""
    since: int
    """When the channel began to be followed, ms."""


class Hold(NamedTuple):
    """Somebody holds the extractor on or off until a time, ms."""

    on: bool
    until: int
    who: str
    ceiling: Ceiling | None = None


class Change(NamedTuple):
    """The state or the relay changed, or there is something to be told; for a reason."""

    before: State
    after: State
    why: str
    about: str = ""
    """"longest run" where that is told, "quiet hours" where they keep a fan off."""


class Demand(NamedTuple):
    """What asks for extraction (nothing: ""), and whether it has to wait for quiet hours' end."""

    why: str
    waits: bool = False


LONGEST_RUN, QUIET_HOURS = "longest run", "quiet hours"


_RESTED = "rested"


class Extractor:
    """One fan behind one relay."""

    def __init__(self, name: str, settings: ExtractorSettings, t: int) -> None:
        """Start in standby at `t` ms as if switched just now: the worst case after a start."""
        self.name = name
        self.settings = settings
        self.state = State.STANDBY
        self.on = False
        self.switched = t
        """When `on` last changed, ms."""
        self.hold: Hold | None = None
        self.fresh = t
        """When trustworthy data was last seen, ms."""
        self.since = t
        self._run_on_until: int | None = None
        self._lifted = ""
        self._rests_until: int | None = None
        self._told_long = False
        self._kept_quiet = False

    def step(self, t: int, demand: Demand, fresh: int | None) -> Change | None:
        """Decide at `t` ms by what asks for extraction; `fresh` tells when the deciding channels
        last had a trustworthy reading (None: there is none to decide on).
        """
        self.fresh = max(self.fresh, t if fresh is None else fresh)
        if self.hold and t >= self.hold.until:
            self.hold = None
        after, why = self._wanted(t, demand)
        if self._lifted:
            why, self._lifted = f"{self._lifted}; {why}", ""
        was_on, about = self.on, self._news(t, after, demand)
        self._switch(t, after)
        if after is self.state:
            if self.on == was_on and not about:
                return None
            why = self._told[about] if about else "the minimum time is over"
        change = Change(self.state, after, why, about)
        if after is not self.state:
            self.state, self.since = after, t
        return change

    def _news(self, t: int, after: State, demand: Demand) -> str:
        """Tell once of a longest run that is over, of the end of a rest, of quiet hours."""
        if not self.on:
            self._told_long = False
        if self._rests_until is not None and t >= self._rests_until:
            self._rests_until = None
            return _RESTED
        if self._ran_long(t) and not self._told_long:
            self._told_long = True
            if self.settings.after_longest_run == "rest" and after is not State.HELD_ON:
                self._rests_until = t + max(self.settings.rest, self.settings.minimum_off)
            return LONGEST_RUN
        kept = after is State.STANDBY and bool(demand.why)
        news, self._kept_quiet = kept and not self._kept_quiet, kept
        return QUIET_HOURS if news else ""

    def _ran_long(self, t: int) -> bool:
        longest = self.settings.longest_run
        return self.on and longest is not None and t - self.switched >= longest

    @property
    def _told(self) -> dict[str, str]:
        longest = format_duration(self.settings.longest_run or 0)
        rests = f"rests for {format_duration(self.settings.rest)}"
        then = rests if self._rests_until is not None else "goes on"
        return {
            LONGEST_RUN: f"it has run for {longest} on end, its longest run, and {then}",
            QUIET_HOURS: "an alarm asks for it, and its quiet hours keep it off",
            _RESTED: "its rest is over",
        }

    @property
    def kept_quiet(self) -> bool:
        """Whether quiet hours keep it off although something asks for it."""
        return self._kept_quiet

    @property
    def rests_until(self) -> int | None:
        """Until when it rests after its longest run, ms; None if it does not."""
        return self._rests_until

    def lift(self, why: str) -> None:
        """End a hold before its time; what comes of it is decided with the next `step`."""
        self.hold, self._lifted = None, why

    def _wanted(self, t: int, demand: Demand) -> tuple[State, str]:
        if self.hold:
            return (State.HELD_ON if self.hold.on else State.HELD_OFF), f"by {self.hold.who}"
        if t - self.fresh >= self.settings.blind_after:
            return State.BLIND, "no trustworthy data is left to decide on"
        if demand.why and (self.on or not demand.waits):
            return State.EXTRACTING, demand.why
        if self.state is State.EXTRACTING:
            self._run_on_until = t + self.settings.run_on
        if self._run_on_until is not None and t < self._run_on_until:
            return State.RUN_ON, "the air has recovered"
        self._run_on_until = None
        return State.STANDBY, self._why_standby()

    def _why_standby(self) -> str:
        return {
            State.RUN_ON: "the run-on is over",
            State.EXTRACTING: "the air has recovered",
            State.BLIND: "trustworthy data is back and nothing is raised",
        }.get(self.state, "the hold is over and nothing is raised")

    def _output(self, state: State) -> bool:
        if state is State.BLIND:
            return self.settings.when_blind == "on"
        return state in (State.EXTRACTING, State.RUN_ON, State.HELD_ON)

    def _free_at(self) -> int:
        """Tell the earliest time of the next switch, ms."""
        least = self.settings.minimum_on if self.on else self.settings.minimum_off
        return self.switched + least

    def _switch(self, t: int, state: State) -> None:
        wanted = self._output(state) and (self._rests_until is None or state is State.HELD_ON)
        if wanted != self.on and t >= self._free_at():
            self.on, self.switched = wanted, t

    @property
    def waiting(self) -> bool:
        """Whether a minimum time or a rest keeps the relay from what the state wants."""
        return self._output(self.state) != self.on

    @property
    def due(self) -> int:
        """When to decide again even if nothing happens, ms."""
        times = [max(self._free_at(), self._rests_until or 0)] if self.waiting else []
        if self.on and self.settings.longest_run is not None and not self._told_long:
            times.append(self.switched + self.settings.longest_run)
        if self.hold:
            return min([*times, self.hold.until])
        if self.state is not State.BLIND:
            times.append(self.fresh + self.settings.blind_after)
        if self.state is State.RUN_ON and self._run_on_until is not None:
            times.append(self._run_on_until)
        return min(times, default=NEVER)

    def save(self) -> dict[str, Any]:
        """Give what must survive a restart, as plain JSON."""
        return {
            "state": self.state.value,
            "on": self.on,
            "switched": self.switched,
            "hold": None if self.hold is None else list(self.hold),
            "run_on_until": self._run_on_until,
            "rests_until": self._rests_until,
            "told": [self._told_long, self._kept_quiet],
        }

    def restore(self, saved: dict[str, Any], shift: int, t: int, safe: bool) -> None:
        """Take back at `t` ms what `save` gave; `shift` makes its times ours.

        The relay stands in its safe state (`safe`: on) since the keeper died; if that was a
        switch, the minimum time counts from now, the latest that it can have been. What was
        blind stays so until there is data: a restart is no news of the air.
        """
        self.state = State(saved["state"])
        if self.state is State.BLIND:
            self.fresh = t - self.settings.blind_after
        self.on = safe
        self.switched = t if saved["on"] != safe else saved["switched"] + shift
        if saved["hold"] is not None:
            on, until, who, *ceiling = saved["hold"]
            top = Ceiling(*ceiling[0]) if ceiling and ceiling[0] else None
            self.hold = Hold(on, until + shift, who, top)
        if saved.get("rests_until") is not None:
            self._rests_until = saved["rests_until"] + shift
        self._told_long, self._kept_quiet = saved.get("told", (False, False))
        if saved["run_on_until"] is not None:
            self._run_on_until = saved["run_on_until"] + shift


def told_state(extractor: Extractor) -> str:
    """Name the state as people are told it: also what keeps a fan off that is asked for."""
    if extractor.kept_quiet:
        return QUIET_HOURS
    resting = extractor.rests_until is not None and not extractor.on
    return "resting" if resting else extractor.state.value
