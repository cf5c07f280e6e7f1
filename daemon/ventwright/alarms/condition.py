"""The condition of an alarm: setpoint, deadband, on-delay, off-delay, as a function of time.

True from the moment the value has stood at or above the setpoint for the on-delay; false again
once it has stood below setpoint minus deadband for the off-delay. Where it may settle, having stood
below the setpoint for that long in calm air is as good: an extractor that brings in air dirtier
than the room's own never gets it lower. A missing value (None) never ends it, stops all delays, and
never begins it.
"""


class Condition:
    """A compared value with memory."""

    __slots__ = (
        "_calm", "_clear", "_off_delay", "_on_delay", "_setpoint", "_settled", "active", "due"
    )  # fmt: skip

    def __init__(
        self, setpoint: float, deadband: float, on_delay: int, off_delay: int, settled: int = 0
    ) -> None:
        """Take setpoint and deadband in the value's unit, delays and `settled` in ms (0: never)."""
        self._setpoint = setpoint
        self._clear = setpoint - deadband
        self._on_delay = on_delay
        self._off_delay = off_delay
        self._settled = settled
        self._calm: int | None = None
        self.active = False
        """Whether the condition holds."""
        self.due: int | None = None
        """When the running delay ends, ms, or None if none runs."""

    def update(self, t: int, value: float | None, calm: bool = False) -> bool:
        """Take the value at `t` ms, `calm` where nothing emits; True if this changed it."""
        settled = self._settled and self._settles(t, value, calm)
        if not (settled or self._changing(value)):
            self.due = None
            return False
        if self.due is None:
            self.due = t + (self._off_delay if self.active else self._on_delay)
        if t < self.due:
            return False
        self.active, self.due, self._calm = not self.active, None, None
        return True

    def settles_in(self, t: int) -> int:
        """Tell how long it must still stand below the setpoint, ms, until it has settled."""
        return self._settled if self._calm is None else max(0, self._calm + self._settled - t)

    def _settles(self, t: int, value: float | None, calm: bool) -> bool:
        """Tell whether it has stood below the setpoint, in calm air, for long enough."""
        if not (calm and self.active) or value is None or value >= self._setpoint:
            self._calm = None
            return False
        if self._calm is None:
            self._calm = t
        return t - self._calm >= self._settled

    def _changing(self, value: float | None) -> bool:
        if value is None:
            return False
        return value < self._clear if self.active else value >= self._setpoint
