"""The wire of the control socket: one JSON object a line, one answer a request."""

import hashlib
import json
import socket
import time
from pathlib import Path
from typing import Any

LONGEST = 1 << 20
"""The longest line that is read, bytes."""

_RUN = Path("/run/ventwright-keeper")
"""A folder in memory, which the keeper's unit has systemd make."""


def spare(path: Path) -> Path:
    """Name the socket that stands for the one at `path` where its disk is read-only or gone.

    Short, however long the path: the name of a socket may have 107 bytes.
    """
    mark = hashlib.sha256(bytes(path.absolute())).hexdigest()[:16]
    return _RUN / f"{mark}.socket"


def send(connection: socket.socket, message: dict[str, Any]) -> None:
    """Send a message; raises OSError."""
    connection.sendall(json.dumps(message).encode() + b"\n")


def receive(connection: socket.socket, within_s: float) -> dict[str, Any]:
    """Receive a message; raises OSError, or ValueError if it is not one JSON object.

    All of it has to come within the time given, however little at a time.
    """
    until, data = time.monotonic() + within_s, b""
    while not data.endswith(b"\n"):
        connection.settimeout(max(0.001, until - time.monotonic()))
        piece = connection.recv(65_536)
        if not piece or len(data) > LONGEST:
            raise ValueError("the line ended early or is too long")
        data += piece
    try:
        message = json.loads(data)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None
    if not isinstance(message, dict):
        raise ValueError("a JSON object is needed")  # noqa: TRY004 - it is the text that is wrong
    return message
