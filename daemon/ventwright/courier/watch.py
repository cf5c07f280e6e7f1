"""Watches the watch: is the keeper alive, and can it store?"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from ventwright.control.client import NotRunningError, ask
from ventwright.courier.stock import newest_numbers
from ventwright.courier.teller import Teller
from ventwright.notifying.messages import (
    Context,
    keeper_back,
    keeper_down,
    store_back,
    store_failing,
)
from ventwright.settings.model import MINUTE, SECOND
from ventwright_drivers.clock import Clock

KeeperStatus = Callable[[], Mapping[str, Any] | None]
"""Asks the keeper how it is; None if it does not answer."""

DOWN_AFTER_MS = 3 * MINUTE
LOOK_EVERY_MS = 10 * SECOND
GRACE_MS = MINUTE
"""Time that the keeper's own record has to tell that all is well again."""

Unstored = Callable[[Mapping[str, Any]], None]
"""Takes the keeper's status: what it could not store is told from there."""

KEEPER_FLAG, STORE_FLAG = "keeper down", "store failing"


def socket_status(path: Path) -> KeeperStatus:
    """Make a way to ask the keeper over its socket; a hung one counts as silent."""

    def status() -> Mapping[str, Any] | None:
        try:
            answer = ask(path, "status")
        except NotRunningError:
            return None
        return answer if "store" in answer else None

    return status


def _grew(before: tuple[int, int], after: tuple[int, int]) -> bool:
    return after[0] > before[0] or after[1] > before[1]


class Watch:
    """Looks at the keeper now and then; `step` may be called as often as one likes."""

    def __init__(
        self,
        folder: Path,
        quiet: int,
        teller: Teller,
        context: Context,
        clock: Clock,
        status: KeeperStatus | None,
        unstored: Unstored = lambda _status: None,
    ) -> None:
        """Watch the store in `folder`, to which a living keeper adds every `quiet` ms."""
        self._folder, self._teller, self._context = folder, teller, context
        self._clock, self._status, self._unstored = clock, status, unstored
        self._down_after = max(DOWN_AFTER_MS, 2 * quiet)
        self._numbers: tuple[int, int] | None = None
        self._signed = False
        self._alive = self._due = clock.now()
        self._well_since: dict[str, int] = {}

    def step(self) -> None:
        """Look, if it is time to."""
        now = self._clock.now()
        if now < self._due:
            return
        self._due = now + LOOK_EVERY_MS
        status = self._status() if self._status else None
        numbers = newest_numbers(self._folder)
        if status is not None or (self._numbers and _grew(self._numbers, numbers)):
            self._alive, self._signed = now, True
        self._numbers = numbers
        self._watch_keeper(now)
        if status is not None:
            self._watch_store(now, str((status.get("store") or {}).get("failing") or ""))
            self._unstored(status)

    def _watch_keeper(self, now: int) -> None:
        told = self._teller.flag(KEEPER_FLAG)
        gone = now - self._alive
        if gone > self._down_after and not told:
            self._teller.note(KEEPER_FLAG, True, keeper_down(self._context, gone))
            return
        well = bool(told) and self._signed and gone < self._down_after
        if self._is_well(KEEPER_FLAG, now, well):
            self._teller.note(KEEPER_FLAG, False, keeper_back(self._context))

    def _watch_store(self, now: int, why: str) -> None:
        told = self._teller.flag(STORE_FLAG)
        if why and not told:
            self._teller.note(STORE_FLAG, True, store_failing(self._context, why))
        elif self._is_well(STORE_FLAG, now, bool(told) and not why):
            self._teller.note(STORE_FLAG, False, store_back(self._context))

    def _is_well(self, flag: str, now: int, well: bool) -> bool:
        """Tell whether it has been well for the time of grace."""
        if not well:
            self._well_since.pop(flag, None)
            return False
        return now - self._well_since.setdefault(flag, now) >= GRACE_MS
