"""Plays the phone: takes what the courier sends, on loopback, and keeps it for the narrator."""

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, NamedTuple


class Received(NamedTuple):
    """A message as it arrived."""

    title: str
    body: str


class Phone:
    """A receiver of messages; listens from the start until closed."""

    def __init__(self) -> None:
        """Listen on a free port of the loopback address; raises OSError."""
        self.messages: list[Received] = []
        self._came = threading.Condition()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._server.daemon_threads = True
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.05,), name="phone", daemon=True
        )
        self._thread.start()

    @property
    def address(self) -> str:
        """The address for the phone's services file."""
        return f"json://127.0.0.1:{self._server.server_address[1]}/"

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        phone = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                data = self.rfile.read(int(self.headers.get("Content-Length") or 0))
                taken = phone._take(data)
                self.send_response(200 if taken else 400)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        return Handler

    def _take(self, data: bytes) -> bool:
        try:
            sent: dict[str, Any] = json.loads(data)
            received = Received(str(sent["title"]), str(sent["message"]))
        except (ValueError, KeyError, TypeError):
            return False
        with self._came:
            self.messages.append(received)
            self._came.notify_all()
        return True

    def wait(self, number: int, seconds: float) -> bool:
        """Wait until `number` messages have come; False after `seconds` real seconds."""
        with self._came:
            return self._came.wait_for(lambda: len(self.messages) >= number, seconds)

    def close(self) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
