"""An alarm: a condition on what a channel shows, and the state that people see.

Knows its channel and its settings; knows no extractor, no store and no message.
"""

from typing import Any

from ventwright.alarms.comparing import Look, compare
from ventwright.alarms.condition import Condition
from ventwright.alarms.dose import Dose
from ventwright.alarms.habits import Habits
from ventwright.alarms.states import ASIDE, LATCHED, WAYS, State, Stimulus
from ventwright.means.channel import Channel
from ventwright.settings.model import MINUTE
from ventwright.settings.model import Alarm as AlarmSettings

_WORSE = 2.0
_TOLD_AGAIN_AFTER = 5 * MINUTE


class Alarm:
    """One configured alarm."""

    def __init__(self, name: str, settings: AlarmSettings, channel: Channel) -> None:
        """Start normal."""
        self.name = name
        self.settings = settings
        self.channel = channel
        self.condition = Condition(
            settings.setpoint,
            settings.deadband,
            settings.on_delay,
            settings.off_delay,
            settings.settled,
        )
        self.state = State.NORMAL
        self.look = Look()
        self.since: int | None = None
        """When the condition last became true, ms."""
        self.peak: float | None = None
        self.shelved_until: int | None = None
        self._left: tuple[State, int | None] = (State.NORMAL, None)
        self._told: tuple[int, float | None] = (0, 0.0)
        self._compare = compare(channel, settings)
        self._dose = Dose(channel, settings.compare)
        self.habits = Habits()

    @property
    def value(self) -> float | None:
        """The compared value, in the alarm's unit."""
        return self.look.value

    @property
    def setpoint(self) -> float:
        """The setpoint as it is now, in the alarm's unit."""
        return self.settings.setpoint * self.look.times

    @property
    def deadband(self) -> float:
        """The deadband as it is now, in the alarm's unit."""
        return self.settings.deadband * self.look.times

    @property
    def unit(self) -> str:
        """The unit of value, setpoint, deadband and peak."""
        unit = self.channel.quantity.unit
        units = {"rate": f"{unit} per min", "silence": "min", "departure": "%", "emission": "µg/h"}
        return units.get(self.settings.compare, unit)

    @property
    def dose(self) -> float | None:
        """What the channel has seen since the condition became true, unit times hours, or None."""
        return None if self.since is None else self._dose.value

    @property
    def due(self) -> int | None:
        """When the alarm must be looked at again even without a reading, ms."""
        due, until = self.condition.due, self.shelved_until
        if due is None or until is None:
            return until if due is None else due
        return min(due, until)

    def quiet(self, t: int) -> bool:
        """Tell whether looking at `t` ms would show nothing new: no delay ends, data is fresh."""
        due = self.due
        return (due is None or due > t) and self.channel.speaks(t)

    def evaluate(self, t: int) -> list[str]:
        """Look at the channel at `t` ms; returns what changed: raised, worse, cleared, ..."""
        condition = self.condition
        look = self.look = self._compare(t, condition.active)
        value = look.value
        changes: list[str] = []
        if condition.update(t, look.compared, self.channel.emits is False):
            changes = self._turn(t, value or 0.0)
        elif condition.active:
            changes = self._follow(t, value)
        return changes if self.shelved_until is None else changes + self._unshelve(t)

    def _turn(self, t: int, value: float) -> list[str]:
        if self.condition.active:
            self.since, self.peak = t, value
            self._told = (t, max(value, self.setpoint) if self.settings.ahead else value)
            self._dose.begin()
            self.habits.begin()
            raised = self._move(Stimulus.RAISE, "raised")
            return raised + self.habits.raised(t) if raised else []
        latching = self.settings.latching
        return self._move(Stimulus.CLEAR_LATCHING if latching else Stimulus.CLEAR, "cleared")

    def _follow(self, t: int, value: float | None) -> list[str]:
        aside = self.state in ASIDE
        stands = [] if aside or self.since is None else self.habits.holds(t - self.since)
        if value is None:
            return stands
        self.peak = value if self.peak is None else max(self.peak, value)
        return stands if aside else stands + self._worse(t, value)

    def _worse(self, t: int, value: float) -> list[str]:
        """Tell when it is markedly worse than what was told; a silence only goes on."""
        told_at, told = self._told
        if told is None:
            self._told = (told_at, value)
            return []
        if value <= told or value < told + (_WORSE - 1) * abs(told):
            return []
        if t - told_at < _TOLD_AGAIN_AFTER or self.settings.compare == "silence":
            return []
        self._told = (t, value)
        return ["worse"]

    def _move(self, stimulus: Stimulus, change: str) -> list[str]:
        if (self.state, stimulus) not in WAYS:
            return []
        self.state = WAYS[self.state, stimulus]
        return [change]

    def acknowledge(self) -> list[str]:
        """Acknowledge; returns the change, or nothing if there was nothing to acknowledge."""
        return self._move(Stimulus.ACKNOWLEDGE, "acknowledged")

    def reset(self) -> list[str]:
        """Reset a latched alarm that was acknowledged; returns the change, or nothing."""
        return self._move(Stimulus.RESET, "reset")

    def shelve(self, until: int) -> list[str]:
        """Set the alarm aside until `until` ms; returns nothing if it is out of service."""
        if self.state is State.OUT_OF_SERVICE:
            return []
        self._set_aside(State.SHELVED)
        self.shelved_until = until
        return ["shelved"]

    def unshelve(self, t: int) -> list[str]:
        """Take the alarm back now; returns the changes, or nothing if it was not shelved."""
        if self.state is not State.SHELVED:
            return []
        self.shelved_until = t
        return self._unshelve(t)

    def _unshelve(self, t: int) -> list[str]:
        if self.shelved_until is None or t < self.shelved_until:
            return []
        self.shelved_until = None
        return ["unshelved", *self._re_enter(t)]

    def take_out(self) -> list[str]:
        """Take the alarm out of service until it is put back."""
        self._set_aside(State.OUT_OF_SERVICE)
        self.shelved_until = None
        return ["out of service"]

    def _set_aside(self, state: State) -> None:
        """Set aside, remembering what was seen and acknowledged of which time."""
        if self.state not in ASIDE:
            self._left = (self.state, self.since)
        self.state = state

    def put_back(self, t: int) -> list[str]:
        """Put the alarm back in service; returns the changes, or nothing if it was in service."""
        if self.state is not State.OUT_OF_SERVICE:
            return []
        return ["in service", *self._re_enter(t)]

    def _re_enter(self, t: int) -> list[str]:
        """Return to the state that the condition has now; what was acknowledged stays so."""
        left, since = self._left
        self.state = State.NORMAL
        if not self.condition.active:
            if left in LATCHED:
                self.state = left
            elif self.settings.latching:
                self.state = WAYS.get((left, Stimulus.CLEAR_LATCHING), State.NORMAL)
            return []
        if left is State.ACKNOWLEDGED and since == self.since:
            self.state = left
            return []
        value = self.peak if self.value is None else self.value
        self._told = (t, value or 0.0)
        return self._move(Stimulus.RAISE, "raised")

    @property
    def extracting(self) -> bool:
        """Whether this alarm asks for extraction: its condition holds, whoever was told."""
        return self.settings.extract and self.condition.active

    @property
    def standing(self) -> bool:
        """Whether there is something to see."""
        return self.state is not State.NORMAL

    @property
    def _of(self) -> list[str]:
        """What its figures are of: those of another alarm of this name say nothing of this one."""
        return [self.channel.name, self.settings.compare]

    def save(self) -> dict[str, Any]:
        """Give what must survive a restart, as plain JSON."""
        return {
            "of": self._of,
            "state": self.state.value,
            "active": self.condition.active,
            "since": self.since,
            "peak": self.peak,
            "told": list(self._told),
            "shelved_until": self.shelved_until,
            "left": [self._left[0].value, self._left[1]],
            "dose": self._dose.save(),
            "habits": self.habits.save(),
        }

    def restore(self, saved: dict[str, Any], shift: int) -> None:
        """Take back what `save` gave; `shift` (ms) turns its times into those of this boot."""
        self.state = State(saved["state"])
        self.condition.active = saved["active"]
        same = saved.get("of", self._of) == self._of
        self.peak = saved["peak"] if same else None
        self._told = (saved["told"][0] + shift, saved["told"][1] if same else None)
        self.since = None if saved["since"] is None else saved["since"] + shift
        until = saved["shelved_until"]
        self.shelved_until = None if until is None else until + shift
        left, since = saved.get("left", (State.NORMAL.value, None))
        self._left = (State(left), None if since is None else since + shift)
        if "dose" in saved:  # not in what versions before saved
            if same:
                self._dose.restore(saved["dose"])
            else:
                self._dose.begin()
            self.habits.restore(saved["habits"], shift)

    def catch_up(self) -> None:
        """Take into the dose what was stored after the state was saved."""
        self._dose.catch_up()
