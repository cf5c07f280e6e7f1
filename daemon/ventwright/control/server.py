"""Takes requests on the keeper's Unix socket and hands them to the core.

Who may connect is a matter of the socket's file permissions; who did is told by the kernel.
"""

import contextlib
import logging
import pwd
import queue
import socket
import struct
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from ventwright.control.wire import receive, send

_PATIENCE_S = 5.0
_PAUSE_S = 1.0
_MOST = 16
"""Connections that are served at a time; more wait."""

_QUEUE = 128
"""Connections that may wait; beyond that they are refused at once."""

_LONGEST_WORD = 200
_CREDENTIALS = struct.Struct("3i")


class Asked(NamedTuple):
    """A request on its way to the core, and where the answer goes."""

    who: str
    verb: str
    words: dict[str, Any]
    reply: "queue.SimpleQueue[dict[str, Any]]"


def who_is(connection: socket.socket) -> str:
    """Name the user at the other end of a Unix socket, as the kernel knows it."""
    raw = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
    uid = _CREDENTIALS.unpack(raw)[1]
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"user {uid}"


def parse(message: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Take verb and words from a message; raises ValueError."""
    verb, words = message.get("verb"), message.get("words", {})
    if not isinstance(verb, str) or not isinstance(words, dict):
        raise ValueError('"verb" must be text and "words" an object')  # noqa: TRY004
    inner = [value for value in words.values() if isinstance(value, dict)]
    flat = {name: None if isinstance(value, dict) else value for name, value in words.items()}
    if not _plain(verb) or not _short(flat) or not all(map(_short, inner)):
        raise ValueError(
            f"words are plain values or text of up to {_LONGEST_WORD} letters, or a table of them"
        )
    return verb, words


def _short(words: dict[Any, Any]) -> bool:
    """Tell whether these are few words, plain all of them."""
    return len(words) <= _MOST and all(map(_plain, [*words, *words.values()]))


def _plain(word: Any) -> bool:
    """Tell whether a word can be stored as it is, and is no burden to the store."""
    if not isinstance(word, str):
        return word is None or isinstance(word, bool | int | float)
    return len(word) <= _LONGEST_WORD and word.isprintable()


class Server:
    """The socket and its thread."""

    def __init__(self, path: Path, take: Callable[[Asked], None]) -> None:
        """Listen at `path`; `take` must see to it that every request is answered."""
        self._path = path
        self._take = take
        self._free = threading.BoundedSemaphore(_MOST)
        self._closed = False
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        self._socket = socket.socket(socket.AF_UNIX)
        self._socket.bind(str(path))
        path.chmod(0o660)
        self._socket.listen(_QUEUE)

    def start(self) -> None:
        """Serve from now on."""
        threading.Thread(target=self._serve, name="control", daemon=True).start()

    def _serve(self) -> None:
        while not self._closed:
            self._free.acquire()
            try:
                connection, _ = self._socket.accept()
            except OSError as error:
                self._free.release()
                self._refused(error)
            else:
                threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _refused(self, error: OSError) -> None:
        """Go on after a failed accept, unless it failed because of `close`."""
        if not self._closed:
            logging.getLogger(__name__).warning("a request could not be taken: %s", error)
            time.sleep(_PAUSE_S)

    def _talk(self, connection: socket.socket) -> None:
        try:
            with connection, contextlib.suppress(OSError):
                message = self._answer(connection)
                connection.settimeout(_PATIENCE_S)
                send(connection, message)
        finally:
            self._free.release()

    def _answer(self, connection: socket.socket) -> dict[str, Any]:
        try:
            verb, words = parse(receive(connection, _PATIENCE_S))
        except ValueError as error:
            return {"done": False, "says": f"the request is not understood: {error}"}
        reply: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self._take(Asked(who_is(connection), verb, words, reply))
        try:
            return reply.get(timeout=_PATIENCE_S)
        except queue.Empty:
            return {"done": False, "says": "the keeper did not answer in time"}

    def close(self) -> None:
        """Stop listening and remove the socket."""
        self._closed = True
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        with contextlib.suppress(OSError):  # on a disk that has turned read-only it stays
            self._path.unlink(missing_ok=True)
