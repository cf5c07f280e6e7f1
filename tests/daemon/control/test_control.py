"""The control socket among garbage, giants, dawdlers and crowds."""

import json
import os
import socket
import stat
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from daemon.storage.test_reading import read_only
from ventwright.control import server as serving
from ventwright.control import wire
from ventwright.control.client import NotRunningError, ask
from ventwright.control.server import Asked, Server
from ventwright.control.wire import LONGEST, receive, send

PATIENCE_S = 60.0


class Answering:
    """What stands in for the core: answers every request with what it was asked."""

    def __init__(self) -> None:
        self.asked: list[Asked] = []
        self.mute = False

    def take(self, asked: Asked) -> None:
        self.asked.append(asked)
        if self.mute:
            serving._PATIENCE_S = 0.05  # from now on: all of the request is there
        else:
            asked.reply.put({"verb": asked.verb, "words": asked.words})


@pytest.fixture
def core() -> Answering:
    return Answering()


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "_PATIENCE_S", PATIENCE_S)


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch, patience: None) -> None:
    """Have the server wait for nobody for long."""
    monkeypatch.setattr(serving, "_PATIENCE_S", 0.3)


@pytest.fixture
def path(tmp_path: Path, core: Answering) -> Iterator[Path]:
    server = Server(tmp_path / "keeper.socket", core.take)
    server.start()
    yield tmp_path / "keeper.socket"
    server.close()


def connected(path: Path) -> socket.socket:
    found = socket.socket(socket.AF_UNIX)
    found.connect(str(path))
    found.settimeout(PATIENCE_S)
    return found


def said(path: Path, data: bytes) -> dict[str, Any]:
    """Send bytes as they are, and take the answer."""
    with connected(path) as connection:
        connection.sendall(data)
        connection.shutdown(socket.SHUT_WR)
        return receive(connection, PATIENCE_S)


def test_a_request_is_answered_and_names_who_asked(path: Path, core: Answering) -> None:
    answer = ask(path, "hold", name="hood", on=True, **{"for": 1000})
    assert answer == {"verb": "hold", "words": {"name": "hood", "on": True, "for": 1000}}
    assert core.asked[0].who == "root" if os.getuid() == 0 else core.asked[0].who


def test_only_owner_and_group_may_open_it(path: Path) -> None:
    assert stat.S_IMODE(path.stat().st_mode) == 0o660


GARBAGE = [
    b"",
    b"\n",
    b"\0\xff\xfe\n",
    b"hello\n",
    b"[1, 2]\n",
    b'"text"\n',
    b"{}\n",
    b'{"verb": 7}\n',
    b'{"verb": "x", "words": []}\n',
    b'{"verb": "x"',
    b'{"verb": "x", "words": {"a": {"b": {"c": 1}}}}\n',
    b'{"verb": "x", "words": {"a": [1]}}\n',
    b'{"verb": "\\ud800", "words": {}}\n',
    b'{"verb": "x", "words": {"name": "\\udcff"}}\n',
    b'{"verb": "x", "words": {"\\u0000": 1}}\n',
    b'{"verb": "x", "words": {"name": "' + b"a" * 201 + b'"}}\n',
    b'{"verb": "x", "words": {"for": ' + b"9" * 5000 + b"}}\n",
    b'{"verb": "x", "words": {' + b", ".join(b'"w%d": 1' % n for n in range(40)) + b"}}\n",
    b"[" * 100_000 + b"\n",
]


@pytest.mark.parametrize("data", GARBAGE, ids=lambda data: repr(data[:40]))
def test_garbage_is_refused_in_one_sentence_and_never_reaches_the_core(
    path: Path, core: Answering, data: bytes
) -> None:
    answer = said(path, data)
    assert answer["done"] is False
    assert answer["says"].startswith("the request is not understood: ")
    assert "\n" not in answer["says"]
    assert core.asked == []
    assert ask(path, "well")["verb"] == "well"


def test_a_giant_is_refused_before_it_is_whole(path: Path) -> None:
    with connected(path) as connection:
        try:
            connection.sendall(b"x" * (2 * LONGEST))
            answer = receive(connection, PATIENCE_S)
        except (BrokenPipeError, ConnectionResetError):
            pass  # hung up on in the middle of it
        else:
            assert not answer["done"]
    assert ask(path, "well")["verb"] == "well"


def dawdle(connection: socket.socket) -> None:
    for _ in range(10_000):
        connection.sendall(b" ")
        threading.Event().wait(0.005)


@pytest.mark.usefixtures("impatient")
def test_a_dawdler_is_hung_up_on_however_often_it_sends(path: Path) -> None:
    with connected(path) as connection, pytest.raises((BrokenPipeError, ConnectionResetError)):
        dawdle(connection)


def test_who_hangs_up_at_once_harms_nobody(path: Path) -> None:
    for _ in range(100):
        connected(path).close()
    assert ask(path, "well", timeout_s=PATIENCE_S)["verb"] == "well"


@pytest.mark.usefixtures("impatient")
def test_a_crowd_of_silent_clients_keeps_nobody_out_for_long(path: Path) -> None:
    crowd = [connected(path) for _ in range(serving._MOST)]
    assert ask(path, "well", timeout_s=PATIENCE_S)["verb"] == "well"
    for connection in crowd:
        connection.close()


def test_many_at_once_each_get_their_own_answer(path: Path) -> None:
    answers: dict[int, Any] = {}

    def one(n: int) -> None:
        answers[n] = ask(path, "well", timeout_s=PATIENCE_S, n=n)["words"]["n"]

    threads = [threading.Thread(target=one, args=(n,)) for n in range(60)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == {n: n for n in range(60)}


def test_a_core_that_does_not_answer_is_told(path: Path, core: Answering) -> None:
    core.mute = True
    assert ask(path, "well", timeout_s=PATIENCE_S) == {
        "done": False,
        "says": "the keeper did not answer in time",
    }


def test_it_goes_on_after_a_failed_accept(
    path: Path, monkeypatch: pytest.MonkeyPatch, core: Answering
) -> None:
    monkeypatch.setattr(serving, "_PAUSE_S", 0.01)
    real, failures = socket.socket.accept, iter([OSError(24, "Too many open files")] * 3)

    def accept(self: socket.socket) -> Any:
        if (error := next(failures, None)) is not None:
            raise error
        return real(self)

    monkeypatch.setattr(socket.socket, "accept", accept)
    for _ in range(5):
        assert ask(path, "well", timeout_s=PATIENCE_S)["verb"] == "well"
    assert next(failures, None) is None


def test_closing_removes_the_socket(tmp_path: Path, core: Answering) -> None:
    server = Server(tmp_path / "s", core.take)
    server.start()
    server.close()
    assert not (tmp_path / "s").exists()


def test_closing_gets_past_a_disk_that_has_turned_read_only(
    tmp_path: Path, core: Answering
) -> None:
    folder = tmp_path / "disk"
    server = Server(folder / "s", core.take)
    with read_only(folder):
        server.close()
        assert (folder / "s").exists()


@pytest.fixture
def in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Answering]:
    """A core that is asked over the socket in memory which stands for the usual one."""
    monkeypatch.setattr(wire, "_RUN", tmp_path / "run")
    found = Answering()
    server = Server(wire.spare(tmp_path / "keeper.socket"), found.take)
    server.start()
    yield found
    server.close()


def test_a_socket_that_cannot_be_reached_is_stood_for_by_that_in_memory(
    tmp_path: Path, in_memory: Answering
) -> None:
    assert ask(tmp_path / "keeper.socket", "status", PATIENCE_S)["verb"] == "status"
    assert len(in_memory.asked) == 1


def test_a_request_that_was_taken_is_never_made_a_second_time(
    path: Path, core: Answering, in_memory: Answering
) -> None:
    core.mute = True
    with pytest.raises(NotRunningError):
        ask(path, "hold", timeout_s=0.02)
    assert in_memory.asked == []


def test_nobody_there_is_one_clear_sentence(tmp_path: Path) -> None:
    for path in (tmp_path / "none", tmp_path / ("x" * 150)):
        with pytest.raises(NotRunningError, match=r"no keeper answers at .*ventwright run") as info:
            ask(path, "status")
        assert "\n" not in str(info.value)


def scripted(path: Path, answer: bytes) -> threading.Thread:
    """Serve one request with these bytes."""
    listening = socket.socket(socket.AF_UNIX)
    listening.bind(str(path))
    listening.listen()

    def serve() -> None:
        with listening, listening.accept()[0] as connection:
            receive(connection, PATIENCE_S)
            connection.sendall(answer)

    thread = threading.Thread(target=serve)
    thread.start()
    return thread


@pytest.mark.parametrize("answer", [b"", b"what?\n", b"[]\n", b"\xff\n"])
def test_an_answer_that_is_none_is_one_clear_sentence(tmp_path: Path, answer: bytes) -> None:
    thread = scripted(tmp_path / "s", answer)
    with pytest.raises(NotRunningError, match="no keeper answers"):
        ask(tmp_path / "s", "status")
    thread.join()


def test_any_text_crosses_the_wire() -> None:
    one, other = socket.socketpair()
    with one, other:
        message = {"a": "µg/m³ \udcff", "b": [1, None]}
        send(one, message)
        assert receive(other, PATIENCE_S) == json.loads(json.dumps(message))
