"""The courier's smaller parts: hiding, the file, the counts, asking the keeper."""

import os
import socket
import sqlite3
import threading
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stored import fill, writer
from ventwright.control.wire import receive, send
from ventwright.courier.accounts import counts
from ventwright.courier.file import CourierFile, count, file_path, keep_state
from ventwright.courier.hiding import Hider, pieces
from ventwright.courier.stock import Stock, newest_numbers
from ventwright.courier.watch import socket_status


def test_pieces_are_all_but_the_kind() -> None:
    found = pieces("tgram://123:AbC%2F1/chat?format=text")
    assert {"123", "AbC%2F1", "AbC/1", "chat", "format", "text"} <= found
    assert "tgram" not in found


def test_hides_the_longer_secret_first() -> None:
    assert Hider(["abc", "abcdef"]).hide("x abcdef y abc") == "x *** y ***"


@given(st.text(), st.text("abcdef0123456789", min_size=6, max_size=12))
def test_no_text_keeps_a_secret(text: str, planted: str) -> None:
    assert planted not in Hider([planted, ""]).hide(f"{text}{planted}{text}")


def test_a_reason_is_one_short_line() -> None:
    told = Hider([]).hide("a\nb " + "c" * 1000)
    assert len(told) == 300
    assert "\n" not in told


def test_counts_of_nothing(tmp_path: Path) -> None:
    assert counts(tmp_path) == {"waiting": 0}


def test_counts_before_the_courier_ever_ran(tmp_path: Path) -> None:
    store = writer(tmp_path)
    fill(store, 10)
    store.close()
    assert counts(tmp_path) == {"waiting": 20, "events_waiting": 0}


def test_the_file_is_made_once_and_kept(tmp_path: Path) -> None:
    for number in (1, 2):
        file = CourierFile(tmp_path / "new")
        with file.transaction() as db:
            count(db, "x")
            keep_state(db, "k", {"n": number})
        assert file.state("k") == {"n": number}
        assert file.state("none") is None
        file.close()
    db = sqlite3.connect(file_path(tmp_path / "new"))
    assert db.execute("SELECT number FROM counts").fetchall() == [(2,)]
    db.close()


@pytest.mark.parametrize("umask", [0, 0o022])
def test_the_file_is_read_by_its_owner_and_its_group_only(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        file = CourierFile(tmp_path)
        with file.transaction() as db:
            count(db, "x")
    finally:
        os.umask(before)
    rights = {side.name: side.stat().st_mode & 0o777 for side in tmp_path.iterdir()}
    assert rights == {f"courier.sqlite{end}": 0o640 for end in ("", "-wal", "-shm")}
    file.close()


def test_a_file_that_is_no_database_is_an_error_and_left_alone(tmp_path: Path) -> None:
    file_path(tmp_path).write_text("something else " * 200)
    with pytest.raises(sqlite3.DatabaseError):
        CourierFile(tmp_path).db  # noqa: B018
    assert file_path(tmp_path).read_text().startswith("something else")
    assert "pushed" not in counts(tmp_path)


@pytest.mark.parametrize("content", [b"", b"no store at all" * 300])
def test_a_store_that_cannot_be_read_is_none(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "readings.sqlite").write_bytes(content)
    stock = Stock(tmp_path)
    assert stock.reader() is None
    assert newest_numbers(tmp_path) == (0, 0)
    stock.close()


def test_the_newest_numbers(tmp_path: Path) -> None:
    assert newest_numbers(tmp_path) == (0, 0)
    store = writer(tmp_path)
    fill(store, 10)
    store.close()
    assert newest_numbers(tmp_path) == (2, 0)


def keeper(path: Path, answer: dict[str, object]) -> threading.Thread:
    listener = socket.socket(socket.AF_UNIX)
    listener.bind(str(path))
    listener.listen(1)

    def serve() -> None:
        connection, _ = listener.accept()
        with listener, connection:
            receive(connection, 5)
            send(connection, answer)

    thread = threading.Thread(target=serve)
    thread.start()
    return thread


@pytest.mark.parametrize(
    ("answer", "heard"),
    [({"store": {"failing": ""}}, True), ({"done": False, "says": "did not answer"}, False)],
)
def test_asking_the_keeper(tmp_path: Path, answer: dict[str, object], heard: bool) -> None:
    thread = keeper(tmp_path / "socket", answer)
    assert (socket_status(tmp_path / "socket")() is not None) == heard
    thread.join()


def test_a_keeper_that_is_not_there(tmp_path: Path) -> None:
    assert socket_status(tmp_path / "socket")() is None
