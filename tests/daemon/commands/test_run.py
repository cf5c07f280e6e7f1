"""`ventwright run` and `check`: refusing what cannot work, and telling what is decided."""

import errno
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any, NoReturn

import pytest
from click.testing import CliRunner, Result

from ventwright.cli import main
from ventwright.commands import run
from ventwright.commands.following import Follower
from ventwright.commands.ready import store_trouble
from ventwright.events import Record
from ventwright.settings.plan import read_settings
from ventwright.storage.writer import Writer

CONFIGURATION = """
[room]
name = "workshop"
volume = 40
[store]
folder = "./store"
[parts.bench]
model = "pms5003"
port = "./nowhere"
"""


def config(folder: Path, more: str = "") -> Path:
    file = folder / "ventwright.toml"
    file.write_text(CONFIGURATION + more)
    return file


def call(command: str, file: Path) -> Result:
    result = CliRunner().invoke(main, [command, "--config", str(file)])
    assert isinstance(result.exception, SystemExit)
    return result


@pytest.fixture(autouse=True)
def _starts_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> NoReturn:
        raise AssertionError("a child was started")

    monkeypatch.setattr(run, "_children", refuse)


@pytest.mark.parametrize("command", ["run", "check"])
def test_a_store_that_cannot_be_made_is_refused_with_the_remedy(
    command: str, tmp_path: Path
) -> None:
    (tmp_path / "store").write_text("a file, and no folder")
    result = call(command, config(tmp_path))
    assert result.exit_code == 1
    assert f"Nothing can be kept in {tmp_path}/store (" in result.output
    assert "or name another one as folder under [store]." in result.output
    assert result.output.count("\n") == 1


def test_trying_a_store_leaves_nothing_behind(tmp_path: Path) -> None:
    assert store_trouble(tmp_path / "a" / "b") == ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("number", "refused"), [(errno.ENOSPC, False), (errno.EROFS, True)])
def test_a_full_disk_is_no_reason_to_refuse(
    number: int, refused: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(**_: Any) -> NoReturn:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("tempfile.TemporaryFile", fail)
    assert bool(store_trouble(tmp_path)) == refused


@pytest.mark.parametrize("command", ["run", "check"])
def test_secret_files_that_are_not_there_are_refused(command: str, tmp_path: Path) -> None:
    more = (
        '[database]\nurl = "http://127.0.0.1:1"\nbucket = "b"\ntoken_file = "./token"\n'
        '[phone]\nservices_file = "./services"\n'
    )
    result = call(command, config(tmp_path, more))
    assert result.exit_code == 2
    for name in ("token", "services"):
        assert f"{tmp_path}/{name} cannot be read" in result.output


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ("", "the configuration has no [phone]"),
        ("[phone]\n", "[phone] has no services_file"),
        ('[phone]\nservices_file = "./services"\n', "names no service"),
    ],
)
def test_nobody_is_told_is_said(
    more: str, why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "services").write_text("# none yet\n")
    run._greet(read_settings(config(tmp_path, more)))
    assert re.search(rf"Nobody is told: .*{re.escape(why)}\.", capsys.readouterr().out)


def _store(folder: Path, *records: Record) -> None:
    writer = Writer(folder, "boot", 0)
    for record in records:
        writer.add(record)
    writer.commit()
    writer.close()


def _failed(t: int) -> Record:
    return Record(t, "relay", "fan", {"change": "failed", "why": "gone"})


def test_only_what_is_stored_from_now_on_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ventwright.commands.following.EVERY_S", 0)
    said: list[str] = []
    _store(tmp_path, _failed(1000))
    follower = Follower(tmp_path, said.append)
    _store(tmp_path, _failed(2000), Record(2000, "request", "hold", {}))
    follower.look()
    follower.look()
    follower.close()
    assert [line[2::3][:2] for line in said] == ["::"]
    assert said[0].endswith(" relay fan: failed - gone")


def test_following_never_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ventwright.commands.following.EVERY_S", 0)

    def refuse(_: str) -> NoReturn:
        raise BrokenPipeError

    follower = Follower(tmp_path, refuse)
    (tmp_path / "readings.sqlite").write_bytes(b"no store" * 200)
    follower.look()
    (tmp_path / "readings.sqlite").unlink()
    _store(tmp_path, _failed(1000))
    follower.look()
    follower.close()


def test_the_start_is_told_while_running(tmp_path: Path) -> None:
    words = [sys.executable, "-c", "from ventwright.cli import main; main()", "run", "--config"]
    with subprocess.Popen(
        [*words, str(config(tmp_path))], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            if "keeper started" in line:
                break
        process.send_signal(signal.SIGINT)
        process.stdout.read()
    assert re.search(r"^\d\d:\d\d:\d\d keeper started", said, re.MULTILINE)
