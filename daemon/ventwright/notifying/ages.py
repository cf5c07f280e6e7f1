"""How old a thing is: by the monotonic clock if it is of this boot, else as far as can be told."""

from collections.abc import Callable
from typing import NamedTuple

from ventwright.storage.reader import Boot, Reader
from ventwright_drivers.clock import Clock

_SCAN_EVERY_MS = 60_000  # the newest time of a boot costs a look at all its blocks


class Known(NamedTuple):
    """What the store says about the boots."""

    settled: bool
    """Whether the wall clock of the running boot is known to be right."""
    newest: dict[str, int]
    """The latest time known of boots that can be judged by nothing better, ms."""


class Ages:
    """Tells ages in ms. `wall` reads Unix time in ms and is only asked once it can be trusted."""

    def __init__(self, clock: Clock, boot: str, wall: Callable[[], int]) -> None:
        """`boot` names the boot whose time `clock` shows."""
        self.clock, self.boot = clock, boot
        self._wall = wall
        self._known = Known(False, {})
        self._newest: dict[str, int] = {}
        self._scan_due = clock.now()

    def refresh(self, reader: Reader, boots: dict[int, Boot]) -> None:
        """Take in what the store knows by now."""
        ours = next((b for b in boots.values() if b.name == self.boot), None)
        last = boots[max(boots)]
        if ours is None and self.clock.now() >= self._scan_due:
            self._newest = {last.name: reader.newest(last.id) or 0}
            self._scan_due = self.clock.now() + _SCAN_EVERY_MS
        newest = {} if ours else self._newest
        self._known = Known(bool(ours and ours.settled), newest)

    def wall(self) -> int | None:
        """Give Unix time in ms, or None while the wall clock is not known to be right."""
        return self._wall() if self._known.settled else None

    def age(self, boot: str, t: int, label: int | None) -> int:
        """Tell how long ago a time `t` of a boot was, ms; `label` is it in Unix ms, if known."""
        known = self._known
        if boot == self.boot:
            return max(0, self.clock.now() - t)
        if known.settled and label is not None:
            return max(0, self._wall() - label)
        return max(0, known.newest.get(boot, t) - t)
