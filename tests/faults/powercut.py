"""A disk that can lose its power: SQLite files through a recording VFS of our own.

What was synced survives; of all written since, each 512-byte sector survives or not by chance.
Only sizes and bytes of files are modelled, which is what SQLite relies on.
"""

import random
from pathlib import Path
from typing import Any

import apsw

SECTOR = 512


class Disk:
    """Every write of every file since its last sync."""

    def __init__(self) -> None:
        self.synced: dict[str, bytes] = {}
        self.written: dict[str, list[tuple[int, bytes]]] = {}
        self.syncs = 0

    def write(self, name: str, offset: int, data: bytes) -> None:
        self.written.setdefault(name, []).append((offset, data))

    def truncate(self, name: str, size: int) -> None:
        held = self.synced.get(name, b"")
        self.synced[name] = held[:size] + bytes(max(0, size - len(held)))
        self.written[name] = [w for w in self.written.get(name, []) if w[0] < size]

    def sync(self, name: str) -> None:
        self.syncs += 1
        for offset, data in self.written.pop(name, []):
            self._put(name, offset, data)

    def forget(self, name: str) -> None:
        self.synced.pop(name, None)
        self.written.pop(name, None)

    def _put(self, name: str, offset: int, data: bytes) -> None:
        held = self.synced.get(name, b"").ljust(offset, b"\0")
        self.synced[name] = held[:offset] + data + held[offset + len(data) :]

    def cut(self, folder: Path, dice: random.Random) -> None:
        """Leave in `folder` what a power cut leaves."""
        for name, writes in list(self.written.items()):
            for offset, data in writes:
                for at in range(0, len(data), SECTOR):
                    if dice.random() < 0.5:
                        self._put(name, offset + at, data[at : at + SECTOR])
        folder.mkdir()
        for name, data in self.synced.items():
            (folder / Path(name).name).write_bytes(data)


class _File(apsw.VFSFile):
    def __init__(self, disk: Disk, name: Any, flags: list[int]) -> None:
        self._disk = disk
        self._name = name.filename() if isinstance(name, apsw.URIFilename) else name
        super().__init__("", name, flags)

    def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802
        super().xWrite(data, offset)
        self._disk.write(self._name, offset, bytes(data))

    def xTruncate(self, size: int) -> None:  # noqa: N802
        super().xTruncate(size)
        self._disk.truncate(self._name, size)

    def xSync(self, flags: int) -> None:  # noqa: N802
        super().xSync(flags)
        self._disk.sync(self._name)


class RecordingVfs(apsw.VFS):
    """The system's files, recorded on a disk."""

    def __init__(self, name: str, disk: Disk) -> None:
        self._disk = disk
        super().__init__(name, "")

    def xOpen(self, name: Any, flags: list[int]) -> Any:  # noqa: N802
        return _File(self._disk, name, flags)

    def xDelete(self, name: str, sync: bool) -> None:  # noqa: N802
        super().xDelete(name, sync)
        self._disk.forget(name)
