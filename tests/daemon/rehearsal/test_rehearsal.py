"""The whole: the real keeper and courier as processes, on a room whose air their bytes move."""

import json
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import click
import pytest
from click.testing import CliRunner

from daemon.rehearsal.stage import FUMES
from house import LIMIT_S
from ventwright.commands.rehearse import rehearse
from ventwright.rehearsal import conductor
from ventwright.rehearsal.conductor import Plan, Rehearsal, RehearsalError
from ventwright.rehearsal.configuration import DatabaseTarget
from ventwright.rehearsal.emission import Print
from ventwright.rehearsal.playbill import SCENARIOS
from ventwright.rehearsal.scenario import DEFAULT
from ventwright.rehearsal.summary import Summary, sentences
from ventwright.rehearsal.world import START_MS
from ventwright.settings.plan import read_settings
from ventwright.storage.reader import Reader

TOKEN = "tok-5b1e0c93"
BEGINS, BURST, ENDS = 480, 540, 1500
SHORT = replace(
    DEFAULT,
    name="short",
    title="a short print",
    duration=2700,
    alarms=FUMES,
    spells=Print(BEGINS, ENDS - BEGINS, burst={"fine": 42_000}, plateau={"fine": 3200}).spells(),
    extraction={"when_blind": "on", "run_on": "4 min"},
)


class Held(NamedTuple):
    found: Summary
    said: list[str]
    out: Path
    switched: list[tuple[int, int, bool]]
    course: Any


def _hold(out: Path, seed: int = 1, database: DatabaseTarget | None = None) -> Held:
    said: list[str] = []
    rehearsal = Rehearsal(Plan(SHORT, seed, None, out, database), said.append)
    found = rehearsal.hold()
    plain = [click.unstyle(line) for line in said]
    course = rehearsal.narrator.course
    return Held(found, plain, out, rehearsal.world.board.history, course)


class Database(NamedTuple):
    url: str
    lines: list[bytes]
    known: set[str]
    """How those who pushed made themselves known."""


@pytest.fixture(scope="module")
def database() -> Iterator[Database]:
    """Something that takes lines by the version 2 write interface."""
    lines: list[bytes] = []
    known: set[str] = set()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            lines.extend(filter(None, body.split(b"\n")))
            known.add(self.headers["Authorization"])
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield Database(f"http://127.0.0.1:{server.server_address[1]}", lines, known)
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory, database: Database) -> Held:
    folder = tmp_path_factory.mktemp("r")
    (folder / "token").write_text(TOKEN)
    target = DatabaseTarget(database.url, token_file=folder / "token")
    held = _hold(folder / "one", database=target)
    assert database.known == {f"Token {TOKEN}"}
    return held


def _decisions(held: Held, kind: str) -> list[tuple[float, str]]:
    return [(d["at"], d["change"]) for d in held.found["decisions"] if d["kind"] == kind]


def test_alarm_comes_soon_after_the_burst_and_clears_after_the_print(held: Held) -> None:
    (raised, up), (cleared, down) = _decisions(held, "alarm")
    assert (up, down) == ("raised", "cleared")
    assert 30 <= raised - BURST <= 180
    assert ENDS < cleared < ENDS + 900
    assert held.found["detection_delay_s"] == pytest.approx(raised - BURST)


def test_extractor_follows_and_runs_on(held: Held) -> None:
    changes = _decisions(held, "extractor")
    (began, _), (recovered, _), (ended, _) = changes
    assert [change for _, change in changes] == [
        "standby to extracting", "extracting to run-on", "run-on to standby",
    ]  # fmt: skip
    assert began == _decisions(held, "alarm")[0][0]
    assert ended - recovered == pytest.approx(240, abs=0.1)
    assert held.found["extraction_s"] == pytest.approx(ended - began, abs=2)


def test_relay_was_switched_by_bytes_on_its_terminal(held: Held) -> None:
    """What the board at the far end of the pseudo-terminal noted, with its own times."""
    (began, _), _, (ended, _) = _decisions(held, "extractor")
    (on, coil, closed), (off, same, still_closed) = held.switched[:2]
    assert (coil, closed, same, still_closed) == (1, True, 1, False)
    assert (on - START_MS) / 1000 == pytest.approx(began, abs=0.5)
    assert (off - START_MS) / 1000 == pytest.approx(ended, abs=0.5)


def test_air_really_clears_because_of_it(held: Held) -> None:
    course = held.course
    on = (held.switched[0][0] - START_MS) // 1000
    assert list(course.held[: on - 1]) == list(course.let_be[: on - 1])
    after = slice(BURST + 200, BURST + 700)
    falling = sum(later < earlier for earlier, later in pairwise(course.held[after]))
    assert falling == len(course.held[after]) - 1
    assert course.held[BURST + 700] < 0.7 * course.let_be[BURST + 700]
    peak = held.found["peak_pm2_5"]
    assert 20 < peak["with_extraction"] < peak["without"]
    back = held.found["recovery_s"]
    assert back["with_extraction"] < 900
    assert back["without"] is None


def test_one_message_when_it_rises_and_one_when_it_is_over(held: Held) -> None:
    first, second = held.found["messages"]
    assert "rising" in first
    assert "back to normal" in second
    assert held.found["messages_due"] == 2


def test_every_reading_is_stored(held: Held) -> None:
    readings = held.found["readings"]
    assert len(readings) == 16
    assert readings["shelf.pm2_5"] == pytest.approx(SHORT.duration, abs=3)
    assert readings["climate.temperature"] == pytest.approx(SHORT.duration / 2, abs=3)
    assert readings["carbon.co2"] == pytest.approx(SHORT.duration / 5, abs=3)
    reader = Reader(held.out / "store")
    stored: dict[str, int] = {}
    for block in reader.all_blocks():
        stored[block.part.name] = stored.get(block.part.name, 0) + block.samples
    (boot,) = reader.boots().values()
    reader.close()
    assert {name: readings[f"{name}.{q}"] for name, q in _ONE_OF_EACH.items()} == stored
    assert boot.name == "rehearsal-1"
    assert boot.settled


_ONE_OF_EACH = {"bench": "pm2_5", "shelf": "pm10", "climate": "humidity", "carbon": "co2"}


def test_every_reading_is_pushed_once(held: Held, database: Database) -> None:
    samples = sum(held.found["readings"][f"{n}.{q}"] for n, q in _ONE_OF_EACH.items())
    assert held.found["pushed"] == samples
    assert held.found["refused"] == held.found["not_pushed"] == 0
    assert len(set(database.lines)) == len(database.lines) >= samples


def test_summary_is_kept_and_the_configuration_is_one(held: Held) -> None:
    kept = json.loads((held.out / "summary.json").read_text())
    assert kept == held.found
    assert kept["whole"] is True
    settings = read_settings(held.out / "ventwright.toml", {})
    assert settings.room.volume == 45
    assert settings.alarms["print-fumes"].setpoint == 20
    assert not (held.out / "keeper.log").read_text()


def test_story_tells_what_why_and_what_was_sent(held: Held) -> None:
    story = "\n".join(held.said)
    assert "alarm print-fumes: raised - rise of " in story
    assert "the contact of fan-relay closes" in story
    assert "✉ workshop: particles rising" in story
    assert all(len(line) <= 100 for line in story.split("\n") if str(held.out) not in line)
    told = "\n".join(sentences(held.found, with_database=True, out="there"))
    assert "were simulated in" in told
    assert "not a certified alarm and no medical device" in told
    assert "do not see ultrafine particles" in told


def test_same_seed_same_decisions(held: Held, tmp_path: Path) -> None:
    again = _hold(tmp_path / "two")
    assert len(again.found["decisions"]) == 5
    assert again.found["decisions"] == held.found["decisions"]
    assert again.found["peak_pm2_5"] == held.found["peak_pm2_5"]
    assert again.found["readings"] == held.found["readings"]
    assert again.switched[:2] == held.switched[:2]


def test_ctrl_c_ends_with_the_summary_so_far(tmp_path: Path) -> None:
    out = tmp_path / "out"
    program = (
        "import sys; from ventwright.cli import main;"
        f"main(['rehearse', '--pace', '20', '--out', {str(out)!r}])"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        for line in run.stdout:
            if "keeper started" in line:
                break
        run.send_signal(signal.SIGINT)
        told = run.stdout.read()
    assert run.returncode == 0
    assert "before it was stopped" in told
    found = json.loads((out / "summary.json").read_text())
    assert found["whole"] is False
    assert 0 < found["simulated_s"] < DEFAULT.duration


@pytest.mark.parametrize("after", [0.1, 0.3, 0.6])
def test_early_ctrl_c_ends_at_once_and_claims_nothing(after: float, tmp_path: Path) -> None:
    out = tmp_path / "out"
    program = (
        "from ventwright.cli import main; print('.', flush=True);"
        f"main(['rehearse', '--pace', '1', '--out', {str(out)!r}])"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as run:
        assert run.stdout is not None
        run.stdout.readline()
        time.sleep(after)
        run.send_signal(signal.SIGINT)
        time.sleep(0.01)
        run.send_signal(signal.SIGINT)  # as `timeout` does
        stopped = time.monotonic()
        told = run.stdout.read()
    assert time.monotonic() - stopped < LIMIT_S < DEFAULT.duration
    assert "Aborted!" not in told
    assert "were simulated" in told or ("nothing was measured" in told and not out.exists())


def test_a_stop_before_the_keeper_begins_does_not_wait_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for patience in ("_CONNECT_S", "_GOODBYE_S"):
        monkeypatch.setattr(conductor, patience, 3 * LIMIT_S)
    out = tmp_path / "out"
    held: list[Rehearsal] = []

    def say(_: str) -> None:
        held[0]._stop()  # as Ctrl-C does, at the very first line

    held.append(Rehearsal(Plan(SHORT, 1, None, out), say))
    began = time.monotonic()
    with pytest.raises(RehearsalError, match=r"nothing was measured, and .*out is removed"):
        held[0].hold()
    assert time.monotonic() - began < LIMIT_S
    assert not out.exists()


def test_json_is_all_that_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(SCENARIOS, DEFAULT.name, replace(DEFAULT, duration=20))
    words = ["--json", "--pace", "0", "--seed", "7", "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(rehearse, words)
    assert result.exit_code == 0
    found = json.loads(result.output)
    assert (found["seed"], found["pace"], found["simulated_s"]) == (7, None, 20)
    assert found["decisions"] == []


def test_quiet_gives_the_closing_words_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(SCENARIOS, DEFAULT.name, replace(DEFAULT, duration=20))
    result = CliRunner().invoke(
        rehearse, ["--quiet", "--pace", "0", "--out", str(tmp_path / "out")]
    )
    assert result.exit_code == 0
    assert result.output.startswith("\n20 s were simulated in ")
    assert "The alarm came" not in result.output
    assert "✉" not in result.output


def _refusal(*words: str) -> str:
    result = CliRunner().invoke(rehearse, list(words))
    assert result.exit_code == 1
    assert result.output.count("\n") == 1
    return result.output


def test_folder_in_use_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("x")
    assert "is there already" in _refusal("--out", str(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]


def test_path_that_no_socket_fits_into_is_refused(tmp_path: Path) -> None:
    assert "too long a path" in _refusal("--out", str(tmp_path / ("x" * 120)))


def test_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    place = tmp_path / "file" / "out"
    told = f"the rehearsal cannot be held in {place}: Not a directory; give --out a new folder, "
    assert told in _refusal("--out", str(place))


def test_keeper_that_dies_is_told_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = replace(SHORT, volume=-1.0)
    with pytest.raises(RehearsalError, match=r"the keeper ended with status 2: .*volume"):
        Rehearsal(Plan(refused, 1, None, tmp_path / "out"), lambda _: None).hold()


def test_courier_that_dies_does_not_end_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(conductor, "_COURIER", "ventwright.no_such_module")
    said: list[str] = []
    found = Rehearsal(Plan(SHORT, 1, None, tmp_path / "out"), said.append).hold()
    assert found["messages"] == []
    assert found["messages_due"] == 2
    assert len(found["decisions"]) == 5
    assert sum("the courier ended with status 1" in line for line in said) == 1


def test_database_that_is_none_is_refused(tmp_path: Path) -> None:
    words = ["--database", "nonsense://x", "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(rehearse, words)
    assert result.exit_code == 2
    assert "does not begin with http://" in result.output
    assert not (tmp_path / "out").exists()


def test_password_in_the_address_is_refused_and_written_nowhere(tmp_path: Path) -> None:
    words = ["--database", "http://a:hush4711@b", "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(rehearse, words)
    assert result.exit_code == 2
    assert "name a --token-file" in result.output
    assert "hush4711" not in result.output
    assert not (tmp_path / "out").exists()


def test_token_is_in_nothing_that_is_left_behind(held: Held) -> None:
    files = [path for path in held.out.rglob("*") if path.is_file()]
    assert {"summary.json", "courier.log", "keeper.log"} <= {path.name for path in files}
    assert not [path for path in files if TOKEN.encode() in path.read_bytes()]


def test_database_that_does_not_answer_is_no_reason_to_stop(
    tmp_path: Path, monkeypatch: Any
) -> None:
    monkeypatch.setattr(conductor, "_COURIER", "ventwright.no_such_module")
    short = replace(SHORT, duration=60)
    nobody = DatabaseTarget("http://127.0.0.1:9")
    found = Rehearsal(Plan(short, 1, None, tmp_path / "out", nobody), lambda _: None).hold()
    told = "\n".join(sentences(found, with_database=True, out="there"))
    assert found["not_pushed"] > 0
    assert "are waiting (courier.log says why)" in told
    assert "The extractor did not run." in told
