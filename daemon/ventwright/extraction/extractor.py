"""When an extractor runs: its states, minimum times, run-on, holding by hand, blindness.

A function of what it is told: it asks no clock and touches no relay. `on` is what the relay is
to be; between two changes of `on` the minimum times always lie, whoever asked.
"""

from enum import StrEnum
from typing import Any, NamedTuple

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
    """The state changed, for a reason."""

    before: State
    after: State
    why: str


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

    def step(self, t: int, demand: str, fresh: int | None) -> Change | None:
        """Decide at `t` ms; `demand` says what asks for extraction (nothing: ""), `fresh` when
        the deciding channels last had a trustworthy reading (None: there is none to decide on).
        """
        self.fresh = max(self.fresh, t if fresh is None else fresh)
        if self.hold and t >= self.hold.until:
            self.hold = None
        after, why = self._wanted(t, demand)
        if self._lifted:
            why, self._lifted = f"{self._lifted}; {why}", ""
        self._switch(t, after)
        if after is self.state:
            return None
        change = Change(self.state, after, why)
        self.state, self.since = after, t
        return change

    def lift(self, why: str) -> None:
        """End a hold before its time; what comes of it is decided with the next `step`."""
        self.hold, self._lifted = None, why

    def _wanted(self, t: int, demand: str) -> tuple[State, str]:
        if self.hold:
            return (State.HELD_ON if self.hold.on else State.HELD_OFF), f"by {self.hold.who}"
        if t - self.fresh >= self.settings.blind_after:
            return State.BLIND, "no trustworthy data is left to decide on"
        if demand:
            return State.EXTRACTING, demand
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
        wanted = self._output(state)
        if wanted != self.on and t >= self._free_at():
            self.on, self.switched = wanted, t

    @property
    def waiting(self) -> bool:
        """Whether a minimum time keeps the relay from what the state wants."""
        return self._output(self.state) != self.on

    @property
    def due(self) -> int:
        """When to decide again even if nothing happens, ms."""
        times = [self._free_at()] if self.waiting else []
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
        if saved["run_on_until"] is not None:
            self._run_on_until = saved["run_on_until"] + shift
