"""The wire of the control socket: one JSON object a line, one answer a request."""

import json
import socket
from typing import Any

LONGEST = 1 << 20
"""The longest line that is read, bytes."""


def send(connection: socket.socket, message: dict[str, Any]) -> None:
    """Send a message; raises OSError."""
    connection.sendall(json.dumps(message, ensure_ascii=False).encode() + b"\n")


def receive(connection: socket.socket) -> dict[str, Any]:
    """Receive a message; raises OSError, or ValueError if it is not one JSON object."""
    data = b""
    while not data.endswith(b"\n"):
        piece = connection.recv(65_536)
        if not piece or len(data) > LONGEST:
            raise ValueError("the line ended early or is too long")
        data += piece
    message = json.loads(data)
    if not isinstance(message, dict):
        raise ValueError("a JSON object is needed")  # noqa: TRY004 - it is the text that is wrong
    return message
