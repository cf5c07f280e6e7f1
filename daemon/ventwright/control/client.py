"""Asks a running keeper."""

import os
import socket
from pathlib import Path
from typing import Any

from ventwright.control.wire import receive, send, spare


class NotRunningError(Exception):
    """No keeper answers on its socket; the text says what to do."""


def ask(path: Path, verb: str, timeout_s: float = 5, **words: Any) -> dict[str, Any]:
    """Ask for `verb` and return the answer; raises NotRunningError."""
    try:
        return _ask(path, verb, timeout_s, words)
    except NotRunningError:
        if not os.path.exists(spare(path)):  # noqa: PTH110 - False where one may not even look
            raise
        return _ask(spare(path), verb, timeout_s, words)


def _ask(path: Path, verb: str, timeout_s: float, words: dict[str, Any]) -> dict[str, Any]:
    try:
        with socket.socket(socket.AF_UNIX) as connection:
            connection.settimeout(timeout_s)
            connection.connect(str(path))
            send(connection, {"verb": verb, "words": words})
            return receive(connection, timeout_s)
    except PermissionError as error:
        raise NotRunningError(
            f"the keeper's socket {path} may not be opened by this user; "
            "become a member of the group that owns it, or use sudo"
        ) from error
    except (OSError, ValueError) as error:
        raise NotRunningError(
            f"no keeper answers at {path} ({error}); start it with: ventwright run"
        ) from error
