"""How many readings of each channel there were, and of what quality."""

from collections import Counter, defaultdict

from ventwright.events import Action, Readings
from ventwright.keeper.core import Core
from ventwright.quality.marks import Quality
from ventwright.replaying.items import Start
from ventwright.replaying.player import Listener
from ventwright.storage.blocks import Column


class Counts(Listener):
    """Counts readings; a sample without a value is none."""

    def __init__(self) -> None:
        """Start with none."""
        self.of: defaultdict[str, Counter[int]] = defaultdict(Counter)
        """By channel, how many had which quality."""
        self._names: dict[str, list[str]] = {}

    def column(self, channel: str, column: Column) -> None:
        """Count a column of a block."""
        counts = self.of[channel]
        good = column.marks.count(Quality.GOOD)
        counts[Quality.GOOD] += good
        if good < len(column.marks):
            pairs = zip(column.steps, column.marks, strict=True)
            counts.update(m for s, m in pairs if m != Quality.GOOD and s is not None)

    def begin(self, start: Start, core: Core) -> None:  # noqa: ARG002
        """Learn the names of the parts' channels."""
        self._names = {name: [c.name for c in p.channels] for name, p in core.parts.items()}

    def hear(self, action: Action) -> None:
        """Count readings that the core has just judged."""
        if type(action) is not Readings:
            return
        names = self._names[action.part]
        for name, step, mark in zip(names, action.steps, action.marks, strict=True):
            if step is not None:
                self.of[name][mark] += 1

    def words(self, channel: str) -> dict[str, int]:
        """Give the counts of a channel by the quality in words."""
        return {Quality(mark).words: n for mark, n in sorted(self.of.get(channel, {}).items())}

    @property
    def total(self) -> int:
        """All readings of all channels."""
        return sum(sum(counts.values()) for counts in self.of.values())
