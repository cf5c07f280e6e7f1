"""The store as a keeper found it when it began, in the midst of the log."""

import json
from pathlib import Path
from typing import Any

from ventwright.keeper.core import Core
from ventwright.keeper.restore import restore
from ventwright.replaying.items import Saved
from ventwright.storage.reader import Reader, StoredBlock


class Past(Reader):
    """A store without the blocks that were written later."""

    def __init__(self, folder: Path, saved: Saved | None) -> None:
        """Open the store in `folder`; `saved` is the state that was saved."""
        super().__init__(folder)
        self._saved = saved
        self._end = super().last_block()

    def end_at(self, boot: int, t: int) -> None:
        """Leave away what a keeper that began at `t` ms of a boot, or a later one, wrote.

        Numbers of blocks grow with the keepers, so the place is found by halving.
        """
        low, high = 0, self._end
        while low < high:
            middle = (low + high + 1) // 2
            if self._before(middle, boot, t):
                low = middle
            else:
                high = middle - 1
        self._end = low

    def _before(self, number: int, boot: int, t: int) -> bool:
        query = "SELECT boot, last FROM blocks WHERE id >= ? ORDER BY id LIMIT 1"
        found: tuple[int, int] = self._db.execute(query, (number,)).fetchone()
        return found <= (boot, t)

    def blocks(self, after: int = 0, limit: int = 1000) -> list[StoredBlock]:
        """Read up to `limit` blocks with a number above `after`, in order."""
        return [block for block in super().blocks(after, limit) if block.id <= self._end]

    def last_block(self) -> int:
        """Give the number of the newest block, 0 if there is none."""
        return self._end

    def latest(self, after: int) -> dict[int, int]:
        """Map boots to the time (ms) of their newest reading in blocks numbered above `after`."""
        query = "SELECT boot, max(last) FROM blocks WHERE id > ? AND id <= ? GROUP BY boot"
        return dict(self._db.execute(query, (after, self._end)).fetchall())

    def state(self, key: str) -> Any:
        """Read a piece of saved state, or None, as it comes out of a store."""
        return json.loads(json.dumps(self._saved)) if key == "core" else None


def refill(folder: Path, boot: tuple[int, str], core: Core, saved: Saved | None) -> None:
    """Fill a core as the keeper did that began at the core's time, in a boot (number, name)."""
    past = Past(folder, saved)
    try:
        past.end_at(boot[0], core.now)
        restore(core, past, boot[1])
    finally:
        past.close()
