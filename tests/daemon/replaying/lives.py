"""Keepers that live and die on one store, as the process does it, without its threads."""

import sqlite3
from pathlib import Path
from typing import Any

import rooms
from ventwright.events import Action, Event, Readings, Record, Started
from ventwright.keeper.core import Core
from ventwright.keeper.restore import Before, restore
from ventwright.quality.judge import PartKind
from ventwright.replaying.blocks import Unpacker
from ventwright.replaying.decisions import DECIDED
from ventwright.replaying.items import Start
from ventwright.replaying.player import Listener, Player
from ventwright.replaying.stored import StoredLog, all_events
from ventwright.settings.model import Settings
from ventwright.storage.reader import Reader
from ventwright.storage.writer import Writer

Told = list[tuple[str, int, str, str, dict[str, Any]]]
OFFSET = 1_790_000_000_000
KIND = rooms.KIND._replace(warm_up=0)


def kinds(settings: Settings) -> dict[str, PartKind]:
    return dict.fromkeys(settings.parts, KIND)


class Life:
    """One keeper, from its start to its death."""

    def __init__(
        self, folder: Path, settings: Settings, t: int, boot: str = "one", offset: int = OFFSET
    ) -> None:
        self.core = Core(settings, kinds(settings), t)
        self.boot = boot
        self.writer = Writer(folder, boot, offset)
        for name, entry in settings.parts.items():
            self.writer.part(name, entry.model, entry.quantities)
        self.since = 0
        before = self._restored(folder)
        self.do([Record(t, "keeper", "keeper", {"change": "started", **before._asdict()})])
        for part in settings.parts:
            self.event(Started(t, part))

    def _restored(self, folder: Path) -> Before:
        try:
            reader = Reader(folder)
        except sqlite3.Error:
            return Before(None, "first start")
        try:
            return restore(self.core, reader, self.boot)
        finally:
            reader.close()

    def event(self, event: Event) -> None:
        self.do(self.core.handle(event))
        self.since += 1
        if self.since >= 50:
            self.commit()

    def look(self, t: int) -> None:
        self.do(self.core.advance(t))

    def do(self, actions: list[Action]) -> None:
        for action in actions:
            if isinstance(action, Readings):
                self.writer.add(action)
            elif isinstance(action, Record):
                self.save()
                self.writer.add(action)
                self.commit()

    def save(self) -> None:
        self.writer.keep("core", {"boot": self.boot, **self.core.save()})

    def commit(self) -> None:
        self.writer.commit()
        self.since = 0

    def kill(self) -> None:
        self.writer.close()

    def stop(self) -> None:
        body = {"change": "stopped", "why": "told to", "missed": None}
        self.do([Record(self.core.now, "keeper", "keeper", body)])
        self.writer.close()


class Hearing(Listener):
    """Writes down the decisions as the store holds them."""

    def __init__(self) -> None:
        self.boot = ""
        self.told: Told = []

    def begin(self, start: Start, core: Core) -> None:
        self.boot = start.boot

    def hear(self, action: Action) -> None:
        if isinstance(action, Record) and action.kind in DECIDED:
            self.told.append((self.boot, *action))


def replayed(folder: Path, settings: Settings, of: dict[str, PartKind] | None = None) -> Told:
    """What a replay of the store decides."""
    log, hearing = StoredLog(folder), Hearing()
    kept = {name: entry.quantities for name, entry in settings.parts.items()}
    Player(settings, of or kinds(settings), (hearing,)).play(log.items(Unpacker(kept)))
    log.close()
    return hearing.told


def taken(folder: Path) -> Told:
    """What the store holds of what was decided."""
    reader = Reader(folder)
    boots = reader.boots()
    events = [e for e in all_events(reader) if e.kind in DECIDED]
    reader.close()
    return [(boots[e.boot].name, e.t, e.kind, e.subject, e.body) for e in events]
