"""How long: alarms from raised to cleared, extractors in each state, keepers and none."""

from collections import Counter
from collections.abc import Iterable
from typing import Any

from ventwright.alarms.states import State
from ventwright.events import Action, Record, Switch
from ventwright.keeper.core import Core
from ventwright.replaying.items import Start
from ventwright.replaying.player import Listener


class Episode:
    """One alarm from raised to cleared; times in Unix ms."""

    def __init__(self, alarm: str, since: int, body: dict[str, Any]) -> None:
        """Begin at `since` ms."""
        self.alarm = alarm
        self.unit: str = body["unit"]
        self.since = since
        self.until: int | None = None
        """When it cleared, or None if it stood when the log ended."""
        self.seen = since
        self.peak: float | None = None
        """The highest compared value, in `unit`."""
        self.higher(body["peak"])

    def higher(self, peak: float | None) -> None:
        """Take a peak that was seen."""
        if peak is not None:
            self.peak = peak if self.peak is None else max(peak, self.peak)

    @property
    def lasted(self) -> int:
        """How long it lasted, or has lasted until the log ended, ms."""
        return (self.seen if self.until is None else self.until) - self.since


class Episodes(Listener):
    """Gathers the episodes of every alarm."""

    def __init__(self) -> None:
        """Start with none."""
        self.all: list[Episode] = []
        self._open: dict[str, Episode] = {}
        self._core: Core | None = None
        self._offset = 0

    def begin(self, start: Start, core: Core) -> None:
        """Take the next keeper's alarms."""
        self._core, self._offset = core, start.offset

    def hear(self, action: Action) -> None:
        """Open or close an episode."""
        if not isinstance(action, Record) or action.kind != "alarm":
            return
        body, t = action.body, action.t + self._offset
        episode = self._open.get(action.subject)
        if episode is None and body["change"] == "raised":
            self._open[action.subject] = Episode(action.subject, t, body)
            self.all.append(self._open[action.subject])
        elif episode is not None:
            episode.higher(body["peak"])
            if body["change"] == "cleared" or body["state"] == State.NORMAL:
                self._open.pop(action.subject).until = t

    def end(self, t: int) -> None:
        """Look at what still stands."""
        for name, episode in self._open.items():
            episode.seen = t + self._offset
            if self._core is not None:
                episode.higher(self._core.alarms[name].peak)


class Fan:
    """How one extractor was spent, ms."""

    def __init__(self) -> None:
        """Start with nothing."""
        self.on = 0
        self.starts = 0
        self.states: Counter[str] = Counter()


class Fans(Listener):
    """Measures how long every extractor was on, and in which states, while a keeper lived."""

    def __init__(self) -> None:
        """Start with nothing."""
        self.fans: dict[str, Fan] = {}
        self._of_relay: dict[str, str] = {}
        self._on: dict[str, bool] = {}
        self._state: dict[str, str] = {}
        self._t = 0

    def begin(self, start: Start, core: Core) -> None:
        """Take the extractors as the keeper found them."""
        self._t = start.t
        for name, extractor in core.extractors.items():
            self.fans.setdefault(name, Fan())
            self._of_relay[extractor.settings.relay] = name
            self._on[name], self._state[name] = extractor.on, extractor.state.value

    def hear(self, action: Action) -> None:
        """Count the time until a change."""
        if isinstance(action, Switch):
            self._count(action.t)
            name = self._of_relay[action.relay]
            self._on[name] = action.on
            self.fans[name].starts += action.on
        elif isinstance(action, Record) and action.kind == "extractor":
            self._count(action.t)
            self._state[action.subject] = action.body["to"]

    def end(self, t: int) -> None:
        """Count the time until the end."""
        self._count(t)

    def _count(self, t: int) -> None:
        for name, fan in self.fans.items():
            fan.states[self._state[name]] += t - self._t
            fan.on += (t - self._t) * self._on[name]
        self._t = t


class Span(Listener):
    """From when until when the log goes, and how long no keeper was there; Unix ms."""

    def __init__(self) -> None:
        """Start with nothing."""
        self.since: int | None = None
        self.until = 0
        self.lives = 0
        self.without = 0
        """Time between two keepers, ms."""
        self._offset = 0

    def begin(self, start: Start, core: Core) -> None:  # noqa: ARG002
        """Note a keeper, and the time since the one before."""
        self._offset = start.offset
        t = start.t + start.offset
        if self.since is None:
            self.since = t
        else:
            self.without += max(0, t - self.until)
        self.lives += 1

    def end(self, t: int) -> None:
        """Note how far the log goes."""
        self.until = max(self.until, t + self._offset)

    @property
    def length(self) -> int:
        """How long the log is, ms."""
        return 0 if self.since is None else max(0, self.until - self.since)


def total(episodes: Iterable[Episode]) -> int:
    """Add up how long episodes lasted, ms."""
    return sum(episode.lasted for episode in episodes)
