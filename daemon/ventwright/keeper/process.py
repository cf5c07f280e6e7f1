"""The keeper put together: threads for the wires, the relays, the store and the time.

The core is worked by one thread at a time: by the one that brings an event, which spares the board
a wake-up for every sample, and by the thread of time when something falls due without an event.
Its turn never waits for anything outside; what it decides goes into inboxes.
"""

import logging
import os
import signal
import sqlite3
from collections.abc import Callable
from threading import Lock, Thread
from typing import Any

from ventwright.control.server import Asked, Server
from ventwright.control.wire import spare
from ventwright.events import SPOILT, Event, LocalTime, Readings, Record, Request, Switch
from ventwright.keeper.alone import be_alone
from ventwright.keeper.core import BEAT_MS, Core
from ventwright.keeper.labels import local_offset
from ventwright.keeper.restore import Before, restore
from ventwright.keeper.status import status
from ventwright.keeper.systemd import tell_systemd
from ventwright.quality.calibration import in_words
from ventwright.quality.judge import PartKind
from ventwright.sampling.poller import Polled, Poller, by_place
from ventwright.sampling.relay_hand import RelayHand
from ventwright.settings.model import HOUR, PartEntry, RelayEntry, Settings
from ventwright.storage.damage import examine
from ventwright.storage.keeping import Damaged, Keeping, Labels, State
from ventwright.storage.reader import Reader
from ventwright.storage.schema import store_path
from ventwright.storage.upkeep import EVERY_EVENT, Upkeep
from ventwright.storage.writer import Writer
from ventwright_drivers.part import Part, Relay, Wiring
from ventwright_drivers.registry import load

_JOIN_S = 5.0
_FIRST_LOOK_S = 0.5
_MOST_OFF_MS = 5000
_LOG = logging.getLogger(__name__)


def build_part(entry: PartEntry, wiring: Wiring) -> Part:
    """Make the part that the configuration names; touches no wire."""
    part: Part = load(entry.driver)(entry.options, wiring)
    return part


def build_relay(entry: RelayEntry, wiring: Wiring) -> Relay:
    """Make the relay that the configuration names; touches no wire."""
    relay: Relay = load(entry.driver)(entry.options, wiring)
    return relay


def kind_of(part: Part) -> PartKind:
    """Tell the core what it must know of a part."""
    return PartKind(
        part.model,
        part.quantities,
        part.period_ms,
        part.silence_ms,
        part.warm_up_ms,
        part.optical_mass,
        part.settle_ms,
        part.rest_ms,
        part.laser_hours,
        part.checked,
    )


class Keeper:
    """The first process."""

    def __init__(
        self,
        settings: Settings,
        wiring: Wiring,
        boot: str,
        labels: Labels,
        relay_wiring: Wiring | None = None,
    ) -> None:
        """Put everything together; nothing runs and no wire is touched yet.

        `relay_wiring`, if given, has a clock that is never stopped: the last command to a relay
        then waits for its turn on the wire and for the relay's answer like any other.
        """
        self.settings = settings
        self._clock = wiring.clock
        self._boot = boot
        self._labels = labels
        self._turn = Lock()
        self._nudges = wiring.clock.inbox()
        parts = {name: build_part(entry, wiring) for name, entry in settings.parts.items()}
        kinds = {name: kind_of(part) for name, part in parts.items()}
        self.core = Core(settings, kinds, wiring.clock.now())
        self._wake = wiring.clock.now()
        writer = Writer(settings.store.folder, boot, labels.offset())
        for name, entry in settings.parts.items():
            writer.part(name, entry.model, entry.quantities)
        self._upkeep = Upkeep(
            settings.store,
            0 if settings.phone else EVERY_EVENT,
            0 if settings.database else EVERY_EVENT,
        )
        self.keeping = Keeping(
            writer, wiring.clock, labels, settings.store.commit_every, self._take, self._upkeep
        )
        self._polled = [Polled(name, part, self._take) for name, part in parts.items()]
        self._hands = {name: self._hand(name, relay_wiring or wiring) for name in settings.relays}
        self._servers: list[Server] = []
        self._threads: list[Thread] = []
        self._fed = 0
        self._local: int | None = None
        self._saved = wiring.clock.now()
        self.failed = False
        """Whether the core ended by an error."""

    def _hand(self, name: str, wiring: Wiring) -> RelayHand:
        entry = self.settings.relays[name]
        safe = entry.safe_state == "on"
        relay = build_relay(entry, wiring)
        return RelayHand(name, relay, entry.repeat_every, safe, self._take)

    def start(self) -> None:
        """Restore what the store knows, then start every thread; raises NotAloneError."""
        self._lock = be_alone(self.settings.store.folder)
        self._examine()
        self._greet(self._restore())
        self._listen()
        tell_systemd("READY=1")  # before anything may feed the watchdog
        for server in self._servers:
            server.start()
        spawn: Callable[[str, Callable[[], None]], Thread] = self._clock.spawn
        self._threads = [spawn("time", self._run)]
        for name, hand in self._hands.items():
            self._threads.append(spawn(f"relay {name}", hand.run))
        for place, polled in by_place(self._polled).items():
            self._threads.append(spawn(f"poll {place}", Poller(self._clock, polled).run))
        self._threads.append(spawn("store", self.keeping.run))

    def _examine(self) -> None:
        """Set a store aside that is found to be damaged at a first look, half a second at most."""
        try:
            if why := examine(store_path(self.settings.store.folder), _FIRST_LOOK_S):
                self.keeping.replace(why)
        except OSError as error:
            _LOG.warning("the damaged store could not be set aside: %s", error)

    def examine_all(self) -> None:
        """Look through the whole store beside all else; what is damaged is set aside then too."""
        file = store_path(self.settings.store.folder)

        def look() -> None:
            if why := examine(file):
                self.keeping.put(Damaged(why))

        Thread(target=look, name="examine", daemon=True).start()

    def _listen(self) -> None:
        """Be there for requests, in memory too; whatever refuses, the room is watched."""
        usual = self.settings.socket
        for path in (usual, spare(usual)) if spare(usual).parent.is_dir() else (usual,):
            try:
                self._servers.append(Server(path, self._take))
            except OSError as error:
                _LOG.warning("no requests are taken at %s: %s", path, error)

    def _restore(self) -> Before:
        try:
            reader = Reader(self.settings.store.folder)
        except sqlite3.Error:
            return Before(None, "first start")
        try:
            return restore(self.core, reader, self._boot)
        except Exception as error:  # noqa: BLE001 - whatever is in the store, the room is watched
            _LOG.warning("%s: %s", SPOILT, error)
            return Before(None, SPOILT)
        finally:
            reader.close()

    def _greet(self, before: Before) -> None:
        calibration = in_words(self.settings.parts)
        body = {"change": "started", **before._asdict(), "calibration": calibration}
        self._do([Record(self.core.now, "keeper", "keeper", body)])
        for relay, on in self.core.commands().items():
            self._hands[relay].command(on)

    def _run(self) -> None:
        """Work off what falls due without an event; `_wake` is when the next of it does."""
        while not self._clock.stopped:
            self._nudges.get(self._wake)
            self._take(None)

    def _take(self, item: Event | Asked | None) -> None:
        """Have the core handle an event, from whatever thread; None: see what is due."""
        with self._turn:
            if self._clock.stopped or self.failed:
                return
            try:
                self._work(item)
            except Exception:  # noqa: BLE001 - without the core the process is of no use
                _LOG.exception("the core failed; the keeper ends, to be started again")
                self.failed = True
                os.kill(os.getpid(), signal.SIGTERM)

    def _work(self, item: Event | Asked | None) -> None:
        if item is None:
            self._do(self.core.advance(self._clock.now()))
            self._wake = self.core.wake
        elif isinstance(item, Asked):
            self._answer(item)
        else:
            self._do(self.core.handle(item))
        self._feed()
        if self.core.wake < self._wake:
            self._wake = self.core.wake
            self._nudges.put(None)

    def _feed(self) -> None:
        """Feed the watchdog once a beat of the core, unless a relay's hand hangs in its driver.

        Then nothing but the process can be ended; the safe state is another one's to command.
        """
        if (now := self.core.now) - self._fed >= BEAT_MS:
            self._fed = now
            if not any(hand.stuck(now) for hand in self._hands.values()):
                tell_systemd("WATCHDOG=1")
            self._tell_local_time()
        if self.core.now - self._saved >= HOUR:
            self._save()

    def _tell_local_time(self) -> None:
        """Let the core know the local time where quiet hours need it: it asks no clock."""
        if not self.core.hours.wanted:
            return
        local = None
        offset, right = self._labels.label()
        if right:
            local = local_offset(offset, self._clock.now())
        if local is None or self._local is None:
            changed = local is not self._local
        else:
            changed = abs(local - self._local) >= _MOST_OFF_MS
        if changed:
            self._local = local
            self._do(self.core.handle(LocalTime(self._clock.now(), local)))

    def _do(self, actions: list[Any]) -> None:
        """Carry out what the core decided: relays first."""
        for action in actions:
            if type(action) is Switch:
                self._hands[action.relay].command(action.on)
        for action in actions:
            if type(action) is Readings:
                self.keeping.put(action)
            elif type(action) is Record:
                self._keep(action)

    def _keep(self, record: Record) -> None:
        self._save()
        self.keeping.put(record)  # one commit: a log must tell what state its end left behind

    def _save(self) -> None:
        """Have the core's state stored: with every record, and for the baselines once an hour."""
        self._saved = self.core.now
        self.keeping.put(State("core", {"boot": self._boot, **self.core.save()}))

    def _answer(self, asked: Asked) -> None:
        if asked.verb == "status":
            told = status(self.core, self.keeping, *self._labels.label())
            asked.reply.put({**told, "store": {**told["store"], **self._upkeep.facts()}})
            return
        if asked.verb == "told":
            asked.reply.put(self._told(asked.words))
            return
        event: Event = Request(self._clock.now(), asked.who, asked.verb, asked.words)
        actions = self.core.handle(event)
        said = next(a.body["answer"] for a in actions if type(a) is Record and a.kind == "request")
        self._do(actions)
        asked.reply.put(said)

    def _told(self, words: dict[str, Any]) -> dict[str, Any]:
        """Take word that events were told and pushed up to a number: once old they may go."""
        store, event, pushed = words.get("store"), words.get("event"), words.get("pushed", 0)
        if not isinstance(store, str) or type(event) is not int or type(pushed) is not int:
            return {"done": False, "says": "which store, and up to which event? both are needed"}
        self._upkeep.allow(store, event, pushed)
        return {"done": True, "says": f"events up to {event} may go once they are old"}

    def stop(self, why: str) -> None:
        """Wait for the threads of a stopped clock, then store what is left."""
        for hand in self._hands.values():
            hand.end()
        for thread in self._threads:
            thread.join(_JOIN_S)
        for server in self._servers:
            server.close()
        if not self.failed:
            body = {"change": "stopped", "why": why, "missed": None}
            self._keep(Record(self.core.now, "keeper", "keeper", body))
        self.keeping.finish()
        if self._lock is not None:
            self._lock.close()
