"""Tells on which disk a folder is: where that of a store has gone, no other store is begun.

Knows folders; knows no tables.
"""

from pathlib import Path


def disk_of(folder: Path) -> int:
    """Give the number of the disk that a folder is on, or would be made on; raises OSError."""
    return next(path for path in (folder, *folder.parents) if path.exists()).stat().st_dev


class SameDisk:
    """The disk that a store was on when it was last opened."""

    def __init__(self, store: Path) -> None:
        """Watch over the file of a store."""
        self._store = store
        self._disk: int | None = None

    def check(self) -> None:
        """Refuse the empty place that an unmounted disk leaves behind; raises OSError."""
        folder = self._store.parent
        if self._disk not in (None, disk_of(folder)) and not self._store.exists():
            raise OSError(f"the disk that {folder} was on is gone; connect and mount it again")

    def note(self) -> None:
        """Take the store's place as it is now; raises OSError."""
        self._disk = disk_of(self._store.parent)
