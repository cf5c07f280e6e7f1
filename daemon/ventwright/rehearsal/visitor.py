"""Somebody who uses the daemon while it is rehearsed: their time is the world's, at any pace.

The visit runs in a thread of its own, which runs only while the world stands still: whoever is
due acts, waits again, and the world goes on. So a visit comes out the same every time.
"""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ventwright.control.client import ask
from ventwright.rehearsal.emission import Spell

_PATIENCE_S = 60.0


class LeftError(Exception):
    """The rehearsal has ended before the visit."""


class Visitor:
    """One visit. The world calls `at` every second; the visit calls all the rest."""

    def __init__(
        self,
        visit: "Callable[[Visitor], None]",
        socket: Any,
        emit: Callable[[list[Spell]], None],
        say: Callable[[str], None],
    ) -> None:
        """Prepare `visit`; `emit` lets something emit in the world, `say` tells what is said."""
        self._visit = visit
        self._socket = socket
        self.emit = emit
        self.say = say
        self.told: list[dict[str, Any]] = []
        """What the visit wants to stand in the summary."""
        self.done = False
        self.failed: BaseException | None = None
        self._second = 0
        self._due = 0
        self._left = False
        self._mine, self._worlds = threading.Semaphore(0), threading.Semaphore(0)
        self._thread = threading.Thread(target=self._run, name="visitor", daemon=True)

    def at(self, second: int) -> None:
        """Let the visitor act if it is time; returns once they wait again."""
        self._second = second
        if second >= self._due and not self.done:
            self._go()

    def _go(self) -> None:
        if self._thread.ident is None:
            self._thread.start()
        self._mine.release()
        self._worlds.acquire()

    def leave(self) -> None:
        """End the visit early, if it has begun."""
        if not self.done and self._thread.ident is not None:
            self._left = True
            self._go()

    def _run(self) -> None:
        self._mine.acquire()
        try:
            self._visit(self)
        except LeftError:
            pass
        except Exception as error:  # noqa: BLE001 - told by who holds the rehearsal
            self.failed = error
        finally:
            self.done = True
            self._worlds.release()

    @property
    def store(self) -> Path:
        """The folder of the store, which holds the socket as well."""
        return Path(self._socket).parent

    def now(self) -> int:
        """Tell the time, s since the start."""
        return self._second

    def wait(self, seconds: float) -> None:
        """Let the world go on for a time, s."""
        self._due = self._second + max(1, round(seconds))
        self._worlds.release()
        self._mine.acquire()
        if self._left:
            raise LeftError

    def ask(self, verb: str, **words: Any) -> dict[str, Any]:
        """Ask the keeper, as every command does; raises NotRunningError."""
        if self._left:
            raise LeftError
        return ask(self._socket, verb, _PATIENCE_S, **words)
