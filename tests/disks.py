"""A disk that is really plugged in and pulled: a tmpfs, bound to a place and unmounted from it."""

import subprocess
from pathlib import Path


def _run(*command: object) -> None:
    subprocess.run([str(word) for word in command], check=True)


class Disk:
    """Always in reach at `whole`, and at `place` while it is plugged in."""

    def __init__(self, folder: Path) -> None:
        self.whole, self.place = folder / "whole", folder / "place"
        self.whole.mkdir()
        self.place.mkdir()
        _run("mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", self.whole)
        self.plug()

    def plug(self) -> None:
        _run("mount", "--bind", self.whole, self.place)

    def pull(self) -> None:
        _run("umount", "--lazy", self.place)

    def end(self) -> None:
        _run("umount", "--lazy", self.whole)
