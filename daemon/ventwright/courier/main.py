"""The second process: pushes in one thread, notifies in another, looks for news in the main one.

It has no device access and only reads the keeper's store; it may hang, be killed or stay off for
days, and nothing is lost.
"""

import logging
import os
import signal
import sqlite3
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any, NoReturn, Protocol

from ventwright.courier.accounts import counts
from ventwright.courier.chores import Chore, Chores
from ventwright.courier.file import CourierFile, file_path
from ventwright.courier.intake import Intake
from ventwright.courier.mending import Aside, MustEndError, mend, unusable
from ventwright.courier.pruning_word import send_word
from ventwright.courier.pulse import Pulse
from ventwright.courier.stock import Stock
from ventwright.courier.teller import Teller
from ventwright.courier.troubles import Troubles
from ventwright.courier.watch import KeeperStatus, Watch, socket_status
from ventwright.exporting.database import DatabaseWriter
from ventwright.exporting.pusher import Pusher
from ventwright.keeper.systemd import tell_systemd
from ventwright.notifying.ages import Ages
from ventwright.notifying.messages import (
    Context,
    database_back,
    database_failing,
    notes_begun_anew,
)
from ventwright.notifying.notifier import Notifier, Recipient
from ventwright.notifying.outbox import Outbox
from ventwright.notifying.post import Post
from ventwright.notifying.sender import Service, services_of
from ventwright.settings.limits import limits
from ventwright.settings.model import DAY, HOUR, MINUTE, SECOND, Settings
from ventwright.settings.secrets import DATABASE_TOKEN, secret, service_addresses
from ventwright.storage.damage import is_damage
from ventwright_drivers.clock import Clock, SystemClock, boot_id

_LOOK_EVERY_MS = SECOND
_TROUBLE_WAIT_MS = 5 * SECOND
_GOODBYE_S = 3.0
_BEAT_MS = 30 * SECOND
_LOOK_INTO_FILE_EVERY_MS = HOUR
_LOOKING, _PUSHING, _TELLING = "looking", "pusher", "notifier"
_DATABASE_FLAG = "database failing since"

log = logging.getLogger(__name__)


class CourierClock(Clock, Protocol):
    """A clock that can be told to let everything end."""

    def stop(self) -> None:
        """Wake all that sleep on this clock and let them end."""


def _wall() -> int:
    return time.time_ns() // 1_000_000


class Courier:
    """Everything that the second process does."""

    def __init__(
        self,
        settings: Settings,
        clock: CourierClock,
        environ: Mapping[str, str],
        *,
        boot: str | None = None,
        keeper_status: KeeperStatus | None = None,
        wall: Callable[[], int] = _wall,
    ) -> None:
        """Read the secrets and prepare; opens nothing on the network.

        `boot` names the boot whose time (ms) `clock` shows: this machine's, unless told. `wall`
        gives Unix time in ms. Raises ConfigurationError or ValueError for unusable secrets.
        """
        self._settings, self._clock = settings, clock
        self._folder = settings.store.folder
        self._can_mend = True
        aside = self._mend(wall())
        self._files: list[CourierFile] = []
        self._stocks: list[Stock] = []
        self.services = self._open_services(environ)
        self._ages = Ages(clock, boot or boot_id(), wall)
        labels = {service.name: service.label for service in self.services}
        self._post = Post(settings, labels, self._ages)
        self._spill = self._in_memory()
        extractors = {e.relay: name for name, e in settings.extractors.items()}
        known = {key: limit.in_message() for key, limit in limits().items()}
        self._context = Context(settings.room.name, known, extractors)
        self._intake, self._watch = self._news(keeper_status)
        if aside:
            self._told_aside(aside)
        self._file_due = clock.now() + _LOOK_INTO_FILE_EVERY_MS
        self._database: DatabaseWriter | None = None
        self._broken = False
        self.pusher = self._open_pusher(environ)
        self.chores = Chores(self._timetable(), self._ages)
        self.notifier = self._open_notifier()
        self._troubles = Troubles(self._file(), self._ages)
        threads = ((_PUSHING, self.pusher), (_TELLING, self.notifier))
        self._pulse = Pulse((_LOOKING, *(name for name, it in threads if it)), tell_systemd)

    @property
    def _too_old(self) -> int:
        return self._settings.phone.too_old if self._settings.phone else DAY

    def _file(self) -> CourierFile:
        self._files.append(CourierFile(self._folder))
        return self._files[-1]

    def _in_memory(self) -> CourierFile:
        self._files.append(CourierFile(None))
        return self._files[-1]

    def _stock(self) -> Stock:
        self._stocks.append(Stock(self._folder))
        return self._stocks[-1]

    def _open_services(self, environ: Mapping[str, str]) -> list[Service]:
        phone = self._settings.phone
        if phone is None:
            return []
        found = service_addresses(phone.services_file, environ)
        return services_of([address.reveal() for address in found])

    def _news(self, status: KeeperStatus | None) -> tuple[Intake, Watch]:
        file = self._file()
        teller = Teller(file, self._spill, self._post, self._ages)
        intake = Intake(
            file,
            self._spill,
            self._stock(),
            teller,
            self._ages,
            self._context,
            self._post,
            self._too_old,
        )
        quiet = self._settings.store.commit_every
        unstored = intake.take_unstored
        watch = Watch(self._folder, quiet, teller, self._context, self._clock, status, unstored)
        return intake, watch

    def _mend(self, now: int) -> Aside | None:
        try:
            return mend(self._folder, now)
        except OSError as error:  # the disk takes no new name; messages go from memory
            log.warning("the courier's file cannot be used, nor set aside: %s", error)
            self._can_mend = False
            return None

    def _told_aside(self, aside: Aside) -> None:
        message = notes_begun_anew(self._context, aside.why, str(aside.file))
        log.warning("%s", message.body)
        teller = Teller(self._file(), self._spill, self._post, self._ages)
        teller.note("set aside", str(aside.file), message)

    def _open_pusher(self, environ: Mapping[str, str]) -> Pusher | None:
        options = self._settings.database
        if options is None:
            return None
        token = secret(DATABASE_TOKEN, options.token_file, environ)
        self._database = DatabaseWriter(options, token.reveal() if token else None)
        file = self._file()
        self._database_teller = Teller(file, self._spill, self._post, self._ages)
        return Pusher(
            file,
            self._stock(),
            self._write,
            options,
            self._settings.room.name,
            self._clock,
            self._told_database,
        )

    def _write(self, lines: bytes) -> None:
        """Write to the database; every answer shows that pushing goes on, a refusal too."""
        assert self._database is not None
        try:
            self._database.write(lines)
        finally:
            self._pulse.beat(_PUSHING)

    def _told_database(self, since: int | None, events_only: bool) -> None:
        """Tell once that the database has not answered, and once that it does again."""
        told = self._database_teller.flag(_DATABASE_FLAG)
        now = self._clock.now()
        if since is not None and told is None:
            message = database_failing(self._context, since, now, events_only)
            value = [since, True] if events_only else since
            self._database_teller.note(_DATABASE_FLAG, value, message)
        elif since is None and told is not None:
            begun, events_only = told if isinstance(told, list) else (told, False)
            message = database_back(self._context, min(begun, now), now, events_only)
            self._database_teller.note(_DATABASE_FLAG, None, message)

    def _timetable(self) -> list[Chore]:
        file, stock, socket = self._file(), self._stock(), self._settings.socket

        def word() -> bool:
            return stock.reader() is not None and send_word(socket, file, stock.identity)

        pruning = Chore("word of what may be pruned", word, {"minute": 7})
        return [*self._digest(file), *self._filters(file), pruning]

    def _digest(self, file: CourierFile) -> list[Chore]:
        if self._settings.report.digest == "none" or not self.services:
            return []
        from ventwright.courier.digests import Digests  # memory that not every courier needs

        teller = Teller(file, self._spill, self._post, self._ages)
        digests = Digests(self._settings, teller, self._ages)
        return [Chore("digest", digests.tell, digests.times)]

    def _filters(self, file: CourierFile) -> list[Chore]:
        if not self._settings.extractors or not self.services:
            return []
        from ventwright.courier.filters import Filters  # memory that not every courier needs

        teller = Teller(file, self._spill, self._post, self._ages)
        filters = Filters(self._settings, teller, self._ages)
        return [Chore("filters", filters.tell, filters.times)]

    def _open_notifier(self) -> Notifier | None:
        if not self.services:
            return None
        outboxes = [Outbox(self._file()), Outbox(self._spill)]
        services: list[Recipient] = list(self.services)
        return Notifier(outboxes, services, self._ages, self._too_old, self._post.waits)

    def look(self) -> int:
        """Take in what is new and look after the keeper; return the time to wait, ms.

        Raises MustEndError.
        """
        self._look_into_file()
        try:
            self._intake.step()
        finally:  # a full disk keeps the intake from its file, and is for the watch to tell
            self._watch.step()
        self.chores.step()
        self._note_troubles()
        return _LOOK_EVERY_MS

    def _look_into_file(self) -> None:
        """Look for damage now and then, and after an error that may mean it: all threads write."""
        now = self._clock.now()
        if now < self._file_due:
            return
        self._file_due = now + _LOOK_INTO_FILE_EVERY_MS
        if why := unusable(self._folder):
            raise MustEndError(f"its file {file_path(self._folder)} cannot be used: {why}")

    def _note_troubles(self) -> None:
        latest: dict[str, dict[str, str]] = {"chores": self.chores.outcomes}
        known = {"chores": set(self.chores.names)}
        if self.notifier:
            latest["services"] = self.notifier.outcomes
            known["services"] = {service.name for service in self.services}
        if self.pusher and self._settings.database:
            latest["database"] = self.pusher.outcomes
            known["database"] = {self._settings.database.bucket}
        self._troubles.step(latest, known)

    def _loop(self, name: str, step: Callable[[], int]) -> None:
        """Repeat a step until all is stopped; an error that is not foreseen stops all."""
        try:
            while not self._clock.stopped:
                self._rest(name, self._clock.now() + self._guarded(step))
        except MustEndError as error:
            self._broken = True
            log.critical("the courier ends, to be started anew: %s", error)
        except Exception:
            self._broken = True
            log.exception("the courier ends, to be started anew")
        finally:
            self._clock.stop()

    def _rest(self, name: str, until: int) -> None:
        """Sleep until `until` (ms), and show now and then that it is sleep and no hanging."""
        self._pulse.beat(name)
        while not self._clock.stopped and (now := self._clock.now()) < until:
            self._clock.sleep_until(min(until, now + _BEAT_MS))
            self._pulse.beat(name)

    def _guarded(self, step: Callable[[], int]) -> int:
        try:
            return step()
        except (sqlite3.Error, OSError) as error:
            if is_damage(error) and self._can_mend:
                self._file_due = self._clock.now()
            log.warning("trying again soon: %s", error)
            return _TROUBLE_WAIT_MS

    def _push_loop(self, pusher: Pusher) -> None:
        try:
            self._loop(_PUSHING, pusher.step)
        finally:
            pusher.save()

    def _threads(self) -> list[threading.Thread]:
        made = []
        if pusher := self.pusher:
            made.append(self._thread(_PUSHING, lambda: self._push_loop(pusher)))
        if notifier := self.notifier:
            made.append(self._thread(_TELLING, lambda: self._loop(_TELLING, notifier.step)))
        return made

    @staticmethod
    def _thread(name: str, run: Callable[[], None]) -> threading.Thread:
        return threading.Thread(target=run, name=name, daemon=True)

    def run(self, signals: bool = True) -> int:
        """Work until SIGTERM, SIGINT or `stop`; return the exit status, 1 after a failure."""
        if signals:
            for number in (signal.SIGTERM, signal.SIGINT):
                signal.signal(number, self._signalled)
        threads = self._threads()
        for thread in threads:
            thread.start()
        tell_systemd("READY=1")
        self._loop(_LOOKING, self.look)
        for thread in threads:
            thread.join(_GOODBYE_S)
        if not any(thread.is_alive() for thread in threads):
            self.close()
        return int(self._broken)

    def stop(self) -> None:
        """End `run` soon."""
        self._clock.stop()

    def _signalled(self, *_: object) -> None:
        """Stop from another thread: the interrupted one may hold the clock's lock."""
        threading.Thread(target=self.stop, daemon=True).start()

    def drain(self, patience: int = MINUTE) -> bool:
        """Push and deliver all there is; False if something still waits after `patience` ms.

        What must wait, as readings whose labels may still change, is left. Not beside `run`.
        """
        end = self._clock.now() + patience
        while True:
            self._guarded(self.look)
            busy = [wait for step in self._steps() if (wait := step()) is not None]
            if not busy:
                return True
            now = self._clock.now()
            if now >= end:
                return False
            self._clock.sleep_until(min(end, now + min(busy)))

    def _steps(self) -> list[Callable[[], int | None]]:
        """List what drains: each gives the time to wait (ms), or None when done."""
        return [self._drain_pusher, self._drain_notifier]

    def _drain_pusher(self) -> int | None:
        if self.pusher is None:
            return None
        wait = self._guarded(self.pusher.step)
        while wait == 0:
            wait = self._guarded(self.pusher.step)
        self.pusher.save()
        return None if self.pusher.failing is None else wait

    def _drain_notifier(self) -> int | None:
        if self.notifier is None:
            return None
        self._guarded(self.notifier.step)
        return None if self.notifier.idle() else _LOOK_EVERY_MS // 2

    def counts(self) -> dict[str, Any]:
        """Count what became of all samples and messages, as saved so far; see `accounts`."""
        return counts(self._folder)

    def close(self) -> None:
        """Close the files and connections."""
        self.chores.close()
        for thing in (*self._files, *self._stocks, self._database):
            if thing is not None:
                thing.close()


def run_courier(settings: Settings, environ: Mapping[str, str]) -> NoReturn:
    """Be the courier process: run, then leave at once, whatever a hung service still does.

    Raises ConfigurationError or ValueError for unusable secrets.
    """
    asking = socket_status(settings.socket)
    status = Courier(settings, SystemClock(), environ, keeper_status=asking).run()
    logging.shutdown()
    os._exit(status)
