"""Requests and replies between the keeper of a rehearsal and its world, one packet each.

A packet is a JSON object. The keeper asks {"do": verb, ...}; the world answers {"ok": ...} or,
where the real thing would raise OSError, {"errno": number, "text": ...}.

hello                              → {"now", "boot", "offset"}
idle   deadline, sent {path: bytes}→ the new time (ms), or null: the rehearsal is over
i2c    bus, parts [[address, hex to write or size to read], ...] → [hex read, ...]
open   path, consumer, lines [[line, {setting: value}], ...] → number of the request
set    request, line, on · get request, line → on · release request
"""

import json
import socket
from pathlib import Path
from typing import Any

_LONGEST = 1 << 16


class Broken(ConnectionError):
    """The other side is gone."""


def send(line: socket.socket, packet: dict[str, Any]) -> None:
    """Send a packet; raises Broken."""
    try:
        line.send(json.dumps(packet, separators=(",", ":")).encode())
    except OSError as error:
        raise Broken(f"the other side of the rehearsal is gone: {error}") from error


def receive(line: socket.socket) -> dict[str, Any]:
    """Wait for a packet; raises Broken, TimeoutError if the socket has a timeout."""
    try:
        data = line.recv(_LONGEST)
    except TimeoutError:
        raise
    except OSError as error:
        raise Broken(f"the other side of the rehearsal is gone: {error}") from error
    if not data:
        raise Broken("the other side of the rehearsal has closed")
    packet: dict[str, Any] = json.loads(data)
    return packet


def listen(path: Path) -> socket.socket:
    """Make the socket on which the keeper finds the world, for us alone; raises OSError."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    listener.bind(str(path))
    path.chmod(0o600)
    listener.listen(1)
    return listener


class WorldLine:
    """The keeper's end."""

    def __init__(self, path: Path) -> None:
        """Connect to the world; raises OSError."""
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        try:
            self._socket.connect(str(path))
        except OSError:
            self._socket.close()
            raise

    def ask(self, verb: str, **words: Any) -> Any:
        """Ask and wait for the answer; raises Broken, or the OSError that the world answers."""
        send(self._socket, {"do": verb, **words})
        reply = receive(self._socket)
        if "errno" in reply:
            raise OSError(reply["errno"], reply["text"])
        return reply["ok"]

    def close(self) -> None:
        """Hang up."""
        self._socket.close()
