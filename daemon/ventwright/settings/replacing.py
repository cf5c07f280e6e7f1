"""Replaces a configuration at one stroke, and only by one without mistakes."""

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from ventwright.settings.errors import ConfigurationError, Mistake
from ventwright.settings.load import load


def replace(path: Path, text: str, environ: Mapping[str, str]) -> None:
    """Check `text` beside the file, then put it in the file's place, owner and mode kept.

    A file that is not there becomes one that everybody may read.

    `path` is the file itself, no link to it. Raises ConfigurationError with what would be wrong
    in the file, or OSError; it is unchanged then.
    """
    handle, name = tempfile.mkstemp(".toml", f".{path.stem}-", path.parent)
    beside = Path(name)
    try:
        with open(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        _check(beside, path, environ)
        _keep_owner(path, beside)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _check(beside: Path, path: Path, environ: Mapping[str, str]) -> None:
    try:
        load(beside, environ)
    except ConfigurationError as error:
        told = (_moved(mistake, str(beside), str(path)) for mistake in error.mistakes)
        raise ConfigurationError(tuple(told)) from None


def _moved(mistake: Mistake, beside: str, path: str) -> Mistake:
    place, where = (text.replace(beside, path) for text in (mistake.place, mistake.where))
    return Mistake(place, mistake.found, mistake.allowed, mistake.hint, where)


def _keep_owner(path: Path, beside: Path) -> None:
    """Give the new file the old one's mode, and its owner as far as this user may."""
    if not path.exists():
        beside.chmod(0o644)
        return
    shutil.copymode(path, beside)
    old = path.stat()
    if (old.st_uid, old.st_gid) != (os.geteuid(), os.getegid()):
        os.chown(beside, old.st_uid, old.st_gid)
