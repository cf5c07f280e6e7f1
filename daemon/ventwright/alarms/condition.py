"""The condition of an alarm: setpoint, deadband, on-delay, off-delay, as a function of time.

True from the moment the value has stood at or above the setpoint for the on-delay; false again
once it has stood below setpoint minus deadband for the off-delay. A missing value (None) never
ends it, stops both delays, and never begins it.
"""


class Condition:
    """A compared value with memory."""

    __slots__ = ("_clear", "_off_delay", "_on_delay", "_setpoint", "active", "due")

    def __init__(self, setpoint: float, deadband: float, on_delay: int, off_delay: int) -> None:
        """Take setpoint and deadband in the value's unit, the delays in ms."""
        self._setpoint = setpoint
        self._clear = setpoint - deadband
        self._on_delay = on_delay
        self._off_delay = off_delay
        self.active = False
        """Whether the condition holds."""
        self.due: int | None = None
        """When the running delay ends, ms, or None if none runs."""

    def update(self, t: int, value: float | None) -> bool:
        """Take the value at `t` ms; True if this changed the condition."""
        if not self._changing(value):
            self.due = None
            return False
        if self.due is None:
            self.due = t + (self._off_delay if self.active else self._on_delay)
        if t < self.due:
            return False
        self.active, self.due = not self.active, None
        return True

    def _changing(self, value: float | None) -> bool:
        if value is None:
            return False
        return value < self._clear if self.active else value >= self._setpoint
