"""What happened in a time, from the store's events: alarms, extractor runs, what was lost.

It must not know readings. Times are Unix ms.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from ventwright.alarms.states import State
from ventwright.storage.reader import Reader, StoredEvent

DAEMON = "the daemon"
_PASSING = ("set aside", "shortened")  # of the store: storing goes on
"""What is lost while no keeper runs."""


@dataclass
class Episode:
    """An alarm from raised to cleared."""

    alarm: str
    begins: int
    priority: str
    channel: str
    unit: str
    peak: float | None = None
    ends: int | None = None
    """None: it stood when the time ended."""
    acknowledged: bool = False


@dataclass
class Run:
    """An extractor's relay from on to off."""

    extractor: str
    begins: int
    why: str
    ends: int | None = None


@dataclass
class Loss:
    """A part, a relay, the store or the keeper from lost to back."""

    what: str
    begins: int
    why: str
    ends: int | None = None


@dataclass(frozen=True)
class Commissioned:
    """What one commissioning of an extractor found: rates in 1/h with their standard errors."""

    extractor: str
    t: int
    body: dict[str, Any]


@dataclass
class Happenings:
    """All that happened."""

    episodes: list[Episode] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    losses: list[Loss] = field(default_factory=list)
    commissioned: list[Commissioned] = field(default_factory=list)
    marks: list[tuple[int, str, dict[str, Any]]] = field(default_factory=list)

    def within(self, begins: int, ends: int) -> "Happenings":
        """Keep what lies in a time, whole; commissionings are kept from before it too."""
        return Happenings(
            [one for one in self.episodes if _touches(one, begins, ends)],
            [one for one in self.runs if _touches(one, begins, ends)],
            [one for one in self.losses if _touches(one, begins, ends)],
            [one for one in self.commissioned if one.t <= ends],
            [one for one in self.marks if begins <= one[0] <= ends],
        )


def _touches(one: Episode | Run | Loss, begins: int, ends: int) -> bool:
    return one.begins <= ends and (one.ends is None or one.ends >= begins)


def happenings(reader: Reader, until: int) -> Happenings:
    """Read all that happened up to a time (Unix ms); raises sqlite3.Error."""
    found = _Finder()
    for t, event in _labelled(reader):
        if t <= until:
            found.take(t, event)
    return found.all


def _labelled(reader: Reader) -> Iterator[tuple[int, StoredEvent]]:
    offsets = {boot.id: boot.offset for boot in reader.boots().values()}
    after = 0
    while page := reader.events(after):
        for event in page:
            yield event.t + offsets[event.boot], event
        after = page[-1].id


class _Finder:
    """Opens and closes as events come."""

    def __init__(self) -> None:
        self.all = Happenings()
        self._episodes: dict[str, Episode] = {}
        self._runs: dict[str, Run] = {}
        self._losses: dict[str, Loss] = {}
        self._takes: dict[str, Callable[[int, StoredEvent], None]] = {
            "alarm": self._alarm,
            "extractor": self._extractor,
            "part": self._loss,
            "relay": self._loss,
            "store": self._loss,
            "keeper": self._keeper,
            "commissioned": self._commissioned,
            "mark": self._mark,
        }

    def take(self, t: int, event: StoredEvent) -> None:
        """Take the next event; a spoilt one, which lacks what its kind has, is passed over."""
        with suppress(KeyError, TypeError):
            if take := self._takes.get(event.kind):
                take(t, event)

    def _alarm(self, t: int, event: StoredEvent) -> None:
        body = event.body
        episode = self._episodes.get(event.subject)
        if episode is None:
            if body["change"] != "raised":
                return
            episode = Episode(event.subject, t, body["priority"], body["channel"], body["unit"])
            self._episodes[event.subject] = episode
            self.all.episodes.append(episode)
        if (peak := body.get("peak")) is not None:
            episode.peak = max(peak, peak if episode.peak is None else episode.peak)
        episode.acknowledged |= body["change"] == "acknowledged"
        if body["change"] == "cleared" or body["state"] == State.NORMAL:
            self._episodes.pop(event.subject).ends = t

    def _extractor(self, t: int, event: StoredEvent) -> None:
        run = self._runs.get(event.subject)
        if event.body["on"] and run is None:
            why = event.body.get("why") or event.body["to"]
            self._runs[event.subject] = Run(event.subject, t, why)
            self.all.runs.append(self._runs[event.subject])
        elif not event.body["on"] and run is not None:
            self._runs.pop(event.subject).ends = t

    def _loss(self, t: int, event: StoredEvent) -> None:
        key = f"{event.kind} {event.subject}".strip()
        if event.body["change"] in _PASSING:
            return
        if event.body["change"] == "back":
            if key in self._losses:
                self._losses.pop(key).ends = t
        elif key not in self._losses:
            self._lose(key, t, str(event.body.get("why") or ""))

    def _keeper(self, t: int, event: StoredEvent) -> None:
        """A keeper that starts found its relays off: whoever died left them in their safe state."""
        why = str(event.body.get("why") or "")
        if event.body["change"] == "stopped":
            self._lose(DAEMON, t, why or "it was stopped")
            self._runs_end(t)
            return
        missed = event.body.get("missed") or 0
        self._runs_end(t - missed)
        if DAEMON in self._losses:
            self._losses.pop(DAEMON).ends = t
        elif missed:
            self.all.losses.append(Loss(DAEMON, t - missed, why, t))

    def _lose(self, what: str, t: int, why: str) -> None:
        self._losses[what] = Loss(what, t, why)
        self.all.losses.append(self._losses[what])

    def _runs_end(self, t: int) -> None:
        while self._runs:
            self._runs.popitem()[1].ends = t

    def _commissioned(self, t: int, event: StoredEvent) -> None:
        if {"natural", "clearance"} <= event.body.keys():
            self.all.commissioned.append(Commissioned(event.subject, t, event.body))

    def _mark(self, t: int, event: StoredEvent) -> None:
        self.all.marks.append((t, event.subject, event.body))
