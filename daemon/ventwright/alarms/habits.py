"""Bad habits of an alarm: chattering (raised again and again) and standing (never over).

Sources: three activations in a minute is the published criterion for chattering, as a start, and
an alarm of more than 24 hours counts as standing, both in the practice of ANSI/ISA-18.2. Alarms
with delays of minutes never reach the first, so five in an hour are chattering here too.
"""

from typing import Any

from ventwright.settings.model import DAY, HOUR, MINUTE

CHATTERING = ((3, MINUTE), (5, HOUR))
"""So many activations within so many ms."""

STANDING_AFTER = DAY
"""ms"""

_KEPT = 5


class Habits:
    """What one alarm has been doing lately."""

    def __init__(self) -> None:
        """Start without any."""
        self._raised: list[int] = []
        self._chattered = False
        self._stood = False

    def chattering(self, t: int) -> bool:
        """Tell whether it is chattering: until it has not been raised for an hour."""
        return self._chattered and t - self._raised[-1] < HOUR

    def standing(self, active: bool) -> bool:
        """Tell whether the episode that holds (`active`) was found to be standing."""
        return active and self._stood

    def activations(self, t: int) -> int:
        """Count how often it was raised in the hour before `t` ms, up to 5."""
        return sum(t - raised <= HOUR for raised in self._raised)

    def begin(self) -> None:
        """The condition became true: a new episode."""
        self._stood = False

    def raised(self, t: int) -> list[str]:
        """Note that it was raised at `t` ms; returns the change if that makes it chattering."""
        already = self.chattering(t)
        self._raised = [*self._raised, t][-_KEPT:]
        self._chattered = already or any(
            len(self._raised) >= count and t - self._raised[-count] <= span
            for count, span in CHATTERING
        )
        return ["chattering"] if self._chattered and not already else []

    def holds(self, lasted: int) -> list[str]:
        """Note that the condition has lasted so long, ms; returns the change if it stands now."""
        if self._stood or lasted < STANDING_AFTER:
            return []
        self._stood = True
        return ["standing"]

    def save(self) -> dict[str, Any]:
        """Give what must survive a restart, as plain JSON."""
        return {"raised": self._raised, "chattered": self._chattered, "stood": self._stood}

    def restore(self, saved: dict[str, Any], shift: int) -> None:
        """Take back what `save` gave; `shift` (ms) turns its times into those of this boot."""
        self._raised = [t + shift for t in saved["raised"]]
        self._chattered, self._stood = saved["chattered"], saved["stood"]
