"""Asks a running keeper."""

import contextlib
import socket
from pathlib import Path
from typing import Any

from ventwright.control.wire import receive, send, spare


class NotRunningError(Exception):
    """No keeper answers on its socket; the text says what to do."""


def ask(path: Path, verb: str, timeout_s: float = 5, **words: Any) -> dict[str, Any]:
    """Ask for `verb`, once, and return the answer; raises NotRunningError."""
    try:
        with _connected(path, timeout_s) as connection:
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


def _connected(path: Path, timeout_s: float) -> socket.socket:
    """Connect to the usual socket, or to the one in memory where that cannot be; raises OSError."""
    try:
        return _connect(path, timeout_s)
    except OSError:
        with contextlib.suppress(OSError):
            return _connect(spare(path), timeout_s)
        raise


def _connect(path: Path, timeout_s: float) -> socket.socket:
    connection = socket.socket(socket.AF_UNIX)
    connection.settimeout(timeout_s)
    try:
        connection.connect(str(path))
    except OSError:
        connection.close()
        raise
    return connection
