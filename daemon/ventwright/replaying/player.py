"""Drives the core with a log's items, and lets others hear what it decides.

Every keeper of the log gets a core of its own, filled as a keeper fills it after a restart.
"""

from collections.abc import Iterable

from ventwright.events import Action, Event, Record
from ventwright.keeper.core import Core
from ventwright.quality.judge import PartKind
from ventwright.replaying.items import Item, Save, Saved, Start, Until
from ventwright.settings.model import MINUTE, Settings


class Listener:
    """Whoever hears what happens in a replay; times are ms of the log's clock."""

    def begin(self, start: Start, core: Core) -> None:
        """Hear that a keeper began, with its core as restored."""

    def hear(self, action: Action) -> None:
        """Hear an action of the core."""

    def minute(self, t: int) -> None:
        """Hear that a minute of Unix time is over: the next event is at `t`, not yet handled."""

    def end(self, t: int) -> None:
        """Hear that the keeper's life ended at `t`, as far as the log knows."""


class Player:
    """A replay of one configuration."""

    def __init__(
        self, settings: Settings, kinds: dict[str, PartKind], listeners: tuple[Listener, ...]
    ) -> None:
        """Take the rules and what the parts are; touches no port."""
        self._settings = settings
        self._kinds = kinds
        self._listeners = listeners
        self._start: Start | None = None
        self._core = Core(settings, kinds, 0)
        self._kept: Saved | None = None
        self._until = 0
        self._decided = -1
        self._minute_end = 0

    def play(self, items: Iterable[Item]) -> None:
        """Play a log to its end."""
        for item in items:
            if isinstance(item, list):
                self._handle(item)
            elif isinstance(item, Start):
                self._begin(item)
            else:
                self._reach(item)
        self._end()

    def _begin(self, start: Start) -> None:
        self._end()
        self._start, self._until, self._decided = start, start.t, -1
        self._core = Core(self._settings, self._kinds, start.t)
        start.fill(self._core, self._kept if start.carries else None)
        self._minute_end = _minute_end(start.t, start.offset)
        for listener in self._listeners:
            listener.begin(start, self._core)

    def _handle(self, events: list[Event]) -> None:
        handle = self._core.handle
        for event in events:
            if event.t >= self._minute_end:
                self._minute(event.t)
            if actions := handle(event):
                self._tell(actions)
        self._until = max(self._until, self._core.now)

    def _minute(self, t: int) -> None:
        for listener in self._listeners:
            listener.minute(t)
        if self._start:
            self._minute_end = _minute_end(t, self._start.offset)

    def _tell(self, actions: list[Action]) -> None:
        for action in actions:
            for listener in self._listeners:
                listener.hear(action)
        if any(isinstance(action, Record) for action in actions):
            self._keep(self._core.now)

    def _keep(self, t: int) -> None:
        boot = self._start.boot if self._start else ""
        self._kept = {"boot": boot, **self._core.save(), "t": t}

    def _reach(self, item: Save | Until) -> None:
        self._until = max(self._until, item.t)
        if isinstance(item, Save):
            self._advance(item.t)
            self._keep(item.t)
        elif item.decided:
            self._decided = item.t

    def _advance(self, t: int) -> None:
        """Let `t` come, unless it has: what a restart left overdue then was the next event's."""
        if t > self._core.now or self._decided == t:
            self._tell(self._core.advance(t))

    def _end(self) -> None:
        if self._start is None:
            return
        self._advance(self._until)
        for listener in self._listeners:
            listener.end(self._until)
        self._start = None


def _minute_end(t: int, offset: int) -> int:
    """Tell when the minute of Unix time ends that `t` is in, ms."""
    return t - (t + offset) % MINUTE + MINUTE
