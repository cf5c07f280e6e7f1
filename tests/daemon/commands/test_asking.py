"""Commands that ask the keeper: one clear sentence, an exit status, never a traceback."""

import json
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from ventwright.cli import main
from ventwright.control.server import Asked, Server

CONFIGURATION = """
[room]
name = "workshop"
volume = 40
[store]
folder = "{folder}"
[parts.bench]
model = "pms5003"
port = "/nowhere/port"
[relays.board]
model = "relay-a0"
port = "/nowhere/relay"
[extractors.hood]
relay = "board"
when_blind = "on"
[alarms.print]
channel = "bench.pm2_5"
setpoint = 10
deadband = 3
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    file = tmp_path / "ventwright.toml"
    file.write_text(CONFIGURATION.format(folder=tmp_path))
    return file


def call(config: Path, *words: str) -> Result:
    result = CliRunner().invoke(main, [*words, "--config", str(config)])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


class Core:
    """Answers what it was told to answer."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, dict[str, Any]]] = []
        self.answer: dict[str, Any] = {"done": True, "says": "so be it"}

    def take(self, asked: Asked) -> None:
        self.asked.append((asked.verb, asked.words))
        asked.reply.put(self.answer)


@pytest.fixture
def core(tmp_path: Path) -> Iterator[Core]:
    found = Core()
    server = Server(tmp_path / "keeper.socket", found.take)
    server.start()
    yield found
    server.close()


COMMANDS = [
    (("acknowledge", "print"), ("acknowledge", {"name": "print"})),
    (("shelve", "print", "--for", "2 h"), ("shelve", {"name": "print", "for": 7_200_000})),
    (("unshelve", "print"), ("unshelve", {"name": "print"})),
    (("reset", "print"), ("reset", {"name": "print"})),
    (("out-of-service", "print"), ("take out of service", {"name": "print"})),
    (("in-service", "print"), ("put back in service", {"name": "print"})),
    (
        ("hold", "hood", "on", "--for", "30 min"),
        ("hold", {"name": "hood", "on": True, "for": 1_800_000}),
    ),
    (("hold", "hood", "off", "--for", "5 s"), ("hold", {"name": "hood", "on": False, "for": 5000})),
    (("release", "hood"), ("release", {"name": "hood"})),
]


@pytest.mark.parametrize(("words", "asked"), COMMANDS)
def test_a_command_asks_and_tells_the_answer(
    config: Path, core: Core, words: tuple[str, ...], asked: Any
) -> None:
    result = call(config, *words)
    assert core.asked == [asked]
    assert (result.exit_code, result.output) == (0, "so be it\n")


@pytest.mark.parametrize(("words", "asked"), COMMANDS[:2])
def test_a_refusal_is_told_with_status_1(
    config: Path, core: Core, words: tuple[str, ...], asked: Any
) -> None:
    core.answer = {"done": False, "says": "there is no such thing"}
    result = call(config, *words)
    assert (result.exit_code, result.output) == (1, "there is no such thing\n")


@pytest.mark.parametrize(("words", "asked"), COMMANDS[2:4])
def test_without_a_keeper_one_sentence_says_so(
    config: Path, words: tuple[str, ...], asked: Any
) -> None:
    result = call(config, *words)
    assert result.exit_code == 1
    assert result.output.startswith("no keeper answers at ")
    assert result.output.count("\n") == 1


def test_an_answer_in_json(config: Path, core: Core) -> None:
    result = call(config, "release", "hood", "--json")
    assert json.loads(result.output) == core.answer


BAD = [
    ("hold", "hood", "on", "--for", "soon"),
    ("hold", "hood", "on", "--for", "-5 s"),
    ("hold", "hood", "on", "--for", ""),
    ("hold", "hood", "sideways", "--for", "5 s"),
    ("hold", "hood", "on"),
    ("shelve", "print"),
    ("shelve",),
    ("acknowledge",),
    ("acknowledge", "print", "more"),
    ("dance",),
]


@pytest.mark.parametrize("words", BAD)
def test_a_bad_command_asks_nothing_and_has_status_2(
    config: Path, core: Core, words: tuple[str, ...]
) -> None:
    result = call(config, *words)
    assert result.exit_code == 2
    assert "Error: " in result.output
    assert core.asked == []


def test_a_bad_length_of_time_says_what_is_allowed(config: Path) -> None:
    result = call(config, "shelve", "print", "--for", "soon")
    assert '"soon" is no length of time; allowed is a number and a unit' in result.output


def test_a_name_that_is_no_text_is_refused(config: Path, core: Core) -> None:
    result = call(config, "acknowledge", "\udcff\udcfe")
    assert result.exit_code == 1
    assert "the request is not understood" in result.output
    assert core.asked == []


@pytest.mark.parametrize("words", [("release", "hood"), ("status",), ("check",)])
def test_a_configuration_that_is_not_there_or_wrong_has_status_2(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    missing = call(tmp_path / "none.toml", *words)
    assert missing.exit_code == 2
    assert "none.toml" in missing.output
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("[room]\nvolume = -1\n")
    assert call(wrong, *words).exit_code == 2


def test_status_of_a_keeper_that_does_not_answer_in_time(config: Path, core: Core) -> None:
    core.answer = {"done": False, "says": "the keeper did not answer in time"}
    for words in (("status",), ("status", "--json")):
        result = call(config, *words)
        assert (result.exit_code, result.output) == (1, "the keeper did not answer in time\n")


def test_status_without_a_keeper(config: Path) -> None:
    result = call(config, "status")
    assert result.exit_code == 1
    assert "start it with: ventwright run" in result.output


def test_a_socket_that_nobody_serves_any_more(config: Path, tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(tmp_path / "keeper.socket"))
    result = call(config, "status")
    assert result.exit_code == 1
    assert "Connection refused" in result.output


def test_an_answer_of_garbage(config: Path, tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(tmp_path / "keeper.socket"))
        listening.listen()

        def serve() -> None:
            with listening.accept()[0] as connection:
                connection.recv(1000)
                connection.sendall(b"\0\xff\n")

        thread = threading.Thread(target=serve)
        thread.start()
        result = call(config, "status")
        thread.join()
    assert result.exit_code == 1
    assert "Traceback" not in result.output
