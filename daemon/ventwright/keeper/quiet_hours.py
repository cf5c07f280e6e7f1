"""Which alarms have to wait for the end of an extractor's quiet hours.

Local time comes in as an event: nothing here asks a clock. While it is not known to be right there
are no quiet hours.
"""

from collections.abc import Iterable

from ventwright.alarms.alarm import Alarm
from ventwright.extraction.extractor import Extractor
from ventwright.settings.model import MINUTE, PRIORITIES, Settings
from ventwright.settings.quiet import is_quiet, parse_quiet

_DAY_MINUTES = 24 * 60


class QuietHours:
    """The quiet hours of all extractors."""

    def __init__(self, settings: Settings) -> None:
        """Know no time of day yet."""
        self.local: int | None = None
        """What makes local time of a time of the boot, ms."""
        self._hours = {
            name: parse_quiet(entry.quiet_hours)
            for name, entry in settings.extractors.items()
            if entry.quiet_hours
        }

    @property
    def wanted(self) -> bool:
        """Whether anybody needs to know the local time."""
        return bool(self._hours)

    def keep_off(self, extractor: Extractor, asking: Iterable[Alarm], t: int) -> bool:
        """Tell whether all that asks for an extractor at `t` ms has to wait for the morning."""
        hours = self._hours.get(extractor.name)
        if hours is None or self.local is None:
            return False
        if not is_quiet(hours, (t + self.local) // MINUTE % _DAY_MINUTES):
            return False
        least = PRIORITIES.index(extractor.settings.quiet_priority)
        return all(PRIORITIES.index(alarm.settings.priority) < least for alarm in asking)
