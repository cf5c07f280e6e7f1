"""Real servers for tests: a scripted HTTP endpoint, a mail receiver, a time-series database."""

import json
import socket
import subprocess
import threading
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.header import decode_header, make_header
from email.policy import default
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, NamedTuple
from urllib.error import HTTPError

from aiosmtpd.controller import Controller

PATIENCE_S = 60.0


def eventually(check: Callable[[], Any], patience: float = PATIENCE_S) -> Any:
    """Ask again and again until the answer is true, and return it."""
    end = time.monotonic() + patience
    while not (found := check()):
        assert time.monotonic() < end, f"still {found!r} after {patience} s"
        time.sleep(0.02)
    return found


def free_port() -> int:
    """Give a port that is free now; another process may take it next."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Reply(NamedTuple):
    """How the endpoint behaves once."""

    status: int = 204
    headers: dict[str, str] = {}  # noqa: RUF012
    body: str = ""
    applied: bool = False
    """Keep the lines even if the status is not 204."""
    cut: bool = False
    """Close the connection instead of answering."""
    silent: bool = False
    """Never answer."""


class Request(NamedTuple):
    path: str
    headers: dict[str, str]
    body: bytes


class Endpoint:
    """An HTTP server that follows a script, then says 204; `judge` decides on lines instead.

    `points` is what a database would hold: (series, time) to fields, merged as they come.
    """

    def __init__(self) -> None:
        self.script: list[Reply] = []
        self.judge: Callable[[bytes], Reply | None] = lambda _body: None
        self.requests: list[Request] = []
        self.points: dict[tuple[str, str], dict[str, str]] = {}
        self.lock = threading.Lock()
        self.released = threading.Event()
        self.keeps = False
        """Keep connections open after an answer."""
        self.busy = 0
        """How many connections were taken and are not done with."""
        endpoint = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
                endpoint.answer(self, body)

            def log_message(self, *_: object) -> None:
                pass

        class Server(ThreadingHTTPServer):
            daemon_threads = True
            allow_reuse_address = True

            def process_request(self, *words: Any) -> None:
                with endpoint.lock:
                    endpoint.busy += 1
                super().process_request(*words)

            def process_request_thread(self, *words: Any) -> None:
                try:
                    super().process_request_thread(*words)
                finally:
                    with endpoint.lock:
                        endpoint.busy -= 1

            def handle_error(self, *_: object) -> None:
                pass

        self.server = Server(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._thread = threading.Thread(
            target=self.server.serve_forever, kwargs={"poll_interval": 0.02}
        )
        self._thread.start()

    def answer(self, handler: BaseHTTPRequestHandler, body: bytes) -> None:
        with self.lock:
            self.requests.append(Request(handler.path, dict(handler.headers), body))
            reply = self.script.pop(0) if self.script else self.judge(body) or Reply()
            if (reply.status == 204 and not reply.cut) or reply.applied:
                self.keep(body)
        handler.close_connection = reply.cut or not self.keeps
        handler.protocol_version = "HTTP/1.1" if self.keeps else "HTTP/1.0"
        if reply.silent:
            self.released.wait(PATIENCE_S)
        if reply.cut or reply.silent:
            return
        handler.send_response(reply.status)
        for name, value in reply.headers.items():
            handler.send_header(name, value)
        if reply.status != 204:
            handler.send_header("Content-Length", str(len(reply.body.encode())))
        handler.end_headers()
        if reply.status != 204:
            handler.wfile.write(reply.body.encode())

    def settle(self) -> None:
        """Wait until all is done with that was sent by now, for who sent it may have died."""
        try:
            urllib.request.urlopen(self.url, timeout=PATIENCE_S)
        except HTTPError as refused:  # taken in turn: once this one is answered, no other waits
            refused.close()
        eventually(lambda: not self.busy)

    def keep(self, body: bytes) -> None:
        for line in body.decode().splitlines():
            series, fields, t = split_line(line)
            self.points.setdefault((series, t), {}).update(fields)

    def lines(self) -> set[str]:
        """Write all that is held as lines again."""
        with self.lock:
            held = {key: dict(fields) for key, fields in self.points.items()}
        return {
            f"{series} {','.join(f'{k}={v}' for k, v in fields.items())} {t}"
            for (series, t), fields in held.items()
        }

    def close(self) -> None:
        self.released.set()
        self.server.shutdown()
        self.server.server_close()
        self._thread.join()


def split_line(line: str) -> tuple[str, dict[str, str], str]:
    """Split a line at the spaces that are not escaped."""
    marked = line.replace("\\ ", "\0")
    series, fields, t = marked.split(" ")
    pairs = dict(pair.split("=", 1) for pair in fields.split(","))
    return series.replace("\0", "\\ "), pairs, t


@contextmanager
def endpoint() -> Iterator[Endpoint]:
    made = Endpoint()
    try:
        yield made
    finally:
        made.close()


class Mailbox:
    """What a mail server received: (subject, text)."""

    def __init__(self) -> None:
        self.mails: list[tuple[str, str]] = []

    async def handle_DATA(self, _server: object, _session: object, envelope: Any) -> str:  # noqa: N802
        mail = message_from_bytes(envelope.content, policy=default)
        part = mail.get_body(("plain", "html"))
        assert part is not None
        subject = str(make_header(decode_header(str(mail["Subject"]))))
        self.mails.append((subject, part.get_content()))
        return "250 OK"


class _MailServer(Controller):
    def _trigger_server(self) -> None:
        self.port = self.server.sockets[0].getsockname()[1]  # the one that was given for 0
        super()._trigger_server()


@contextmanager
def mail_server() -> Iterator[tuple[Mailbox, int]]:
    box = Mailbox()
    controller = _MailServer(box, hostname="127.0.0.1", port=0, ready_timeout=PATIENCE_S)
    controller.start()
    try:
        yield box, controller.port
    finally:
        controller.stop()


class Metrics:
    """A running victoria-metrics: line protocol in, lines of JSON out."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._start()

    def _start(self) -> None:
        port = free_port()
        self.url = f"http://127.0.0.1:{port}"
        words = [f"-storageDataPath={self._folder}", f"-httpListenAddr=127.0.0.1:{port}"]
        self.process = subprocess.Popen(
            ["/usr/bin/victoria-metrics", *words, "-retentionPeriod=10y"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def ask(self, path: str, **words: str) -> str:
        query = urllib.parse.urlencode(words)
        with urllib.request.urlopen(f"{self.url}{path}?{query}", timeout=30) as answer:
            return str(answer.read().decode())

    def up(self) -> bool:
        """Tell whether it answers; one whose port somebody else took first is started anew."""
        if self.process.poll() is not None:
            self._start()
        try:
            return self.ask("/health") == "OK"
        except OSError:
            return False

    def points(self) -> dict[tuple[str, str, str, int], float]:
        """Map (part, quality, metric, Unix ms) to the value held."""
        self.ask("/internal/force_flush")
        found = {}
        text = self.ask("/api/v1/export", **{"match[]": '{__name__!=""}'})
        for row in map(json.loads, text.splitlines()):
            tags = row["metric"]
            if "part" not in tags:
                continue
            for t, value in zip(row["timestamps"], row["values"], strict=True):
                name = tags["__name__"].removeprefix("room_air_")
                found[tags["part"], tags["quality"], name, t] = value
        return found

    def events(self) -> dict[tuple[str, str, str, str, int], float]:
        """Map (metric, kind, subject, nth, Unix ms) of events to the value held."""
        self.ask("/internal/force_flush")
        found = {}
        text = self.ask("/api/v1/export", **{"match[]": '{kind!=""}'})
        for row in map(json.loads, text.splitlines()):
            tags = row["metric"]
            name, nth = tags["__name__"], tags.get("nth", "1")
            for t, value in zip(row["timestamps"], row["values"], strict=True):
                found[name, tags["kind"], tags.get("subject", ""), nth, t] = value
        return found


@contextmanager
def metrics(folder: Path) -> Iterator[Metrics]:
    """Run the real database; fails where it is not installed."""
    made = Metrics(folder)
    try:
        eventually(made.up)
        yield made
    finally:
        made.process.kill()
        made.process.wait()
