"""One keeper a store: a lock on a file beside it, which the kernel lifts when the process ends."""

import fcntl
import logging
from pathlib import Path
from typing import IO

NOT_ALONE = 3
"""Exit status of a keeper that finds another one running."""


class NotAloneError(Exception):
    """Another keeper runs on the same store; the text says so."""


def be_alone(folder: Path) -> IO[bytes] | None:
    """Take the lock of the store in `folder`; raises NotAloneError if another keeper has it.

    The lock holds while the returned file is open. A disk that refuses even this file keeps
    nobody from controlling: there is no lock then (None), and a warning.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = (folder / "keeper.lock").open("ab")
    except OSError as error:
        logging.getLogger(__name__).warning("the store's folder cannot be locked: %s", error)
        return None
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        raise NotAloneError(f"another keeper is running on the store in {folder}") from None
    return file
