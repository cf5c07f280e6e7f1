"""The piece of configuration: what is written, and what is never touched."""

import os
import stat
import tempfile
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from ventwright.finding.block import add, block
from ventwright.finding.found import Found
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.load import load

PORT = "/dev/serial/by-path/usb-0:1.2"
COUNTER = Found(PORT, "", ("pms5003", "pms7003"), {"port": PORT})
OTHER = Found("/dev/ttyUSB7", "", ("pms5003",), {"port": "/dev/ttyUSB7"})
CLIMATE = Found("", "", ("sht40", "sht41"), {"bus": 1, "address": 0x44})
BOARD = Found("/dev/ttyUSB8", "", ("relay-modbus",), {"port": "/dev/ttyUSB8"}, relay=True)
NOBODY = Found("/dev/ttyUSB9", "is silent")
ALL = [COUNTER, OTHER, CLIMATE, BOARD, NOBODY]

START = """# Our room.
[room]
name = "workshop"   # the big one
volume = 40

[store]
folder = "./data"
"""
WITH_PART = f"""{START}
[parts.pms5003]
model = "sds011"  # named after the one before
port = "/dev/old"
"""


def test_the_block_is_as_one_would_write_it() -> None:
    assert block([COUNTER, CLIMATE, BOARD, NOBODY]) == (
        "[parts.pms5003]\n"
        "# Or pms7003: the wire does not tell; see what is printed on it.\n"
        'model = "pms5003"\n'
        f'port = "{PORT}"\n'
        "\n"
        "[parts.sht40]\n"
        "# Or sht41: the wire does not tell; see what is printed on it.\n"
        'model = "sht40"\n'
        "bus = 1\n"
        "address = 0x44\n"
        "\n"
        "[relays.relay-modbus]\n"
        'model = "relay-modbus"\n'
        'port = "/dev/ttyUSB8"\n'
    )


def test_no_name_comes_twice() -> None:
    tree = tomllib.loads(block(ALL, taken=["sht40", "pms5003", "pms5003-2"]))
    assert list(tree["parts"]) == ["pms5003-3", "pms5003-4", "sht40-2"]


def test_nothing_found_is_nothing_written() -> None:
    assert block([NOBODY]) == ""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "ventwright.toml"
    path.write_text(WITH_PART)
    return path


def test_what_is_added_can_be_loaded_and_the_rest_stays_as_it_was(file: Path) -> None:
    added = add(file, ALL, {})
    text = file.read_text()
    assert text == f"{WITH_PART}\n{added}"
    settings = load(file, {})
    assert list(settings.parts) == ["pms5003", "pms5003-2", "pms5003-3", "sht40"]
    assert settings.parts["pms5003"].model == "sds011"
    assert settings.parts["pms5003-2"].options.port == PORT
    assert settings.parts["sht40"].options.address == 0x44
    assert settings.relays["relay-modbus"].safe_state == "off"
    assert [p.name for p in file.parent.iterdir()] == [file.name]


def test_adding_twice_changes_nothing(file: Path) -> None:
    assert add(file, ALL, {})
    before = file.read_bytes(), file.stat().st_ino
    assert add(file, ALL, {}) == ""
    assert (file.read_bytes(), file.stat().st_ino) == before


def test_a_port_under_another_name_is_the_same_port(tmp_path: Path, file: Path) -> None:
    (tmp_path / "ttyUSB0").touch()
    (tmp_path / "stable").symlink_to("ttyUSB0")
    first, second = str(tmp_path / "ttyUSB0"), str(tmp_path / "stable")
    add(file, [Found(first, "", ("sds011",), {"port": first})], {})
    assert add(file, [Found(second, "", ("pms5003",), {"port": second})], {}) == ""


@pytest.mark.parametrize("written", ["", "bus = 1\n", "address = 0x44\n", "address = 68\nbus=1\n"])
def test_an_address_that_the_file_leaves_to_the_part_is_the_same(
    tmp_path: Path, written: str
) -> None:
    path = tmp_path / "x.toml"
    path.write_text(f'{START}\n[parts.air]\nmodel = "sht40"\n{written}')
    assert add(path, [CLIMATE], {}) == ""
    moved = Found("", "", ("sht40",), {"bus": 1, "address": 0x45})
    assert "0x45" in add(path, [moved], {})


def test_the_first_part_makes_a_bare_file_whole(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    path.write_text(START.rstrip("\n"))  # no line end at the end
    add(path, [COUNTER], {})
    assert path.read_text().startswith(START + "\n# Added by `ventwright find`.\n\n[parts.pms5003]")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[room\n", "is not valid TOML"),
        ("[room]\nname = 'x'\n", "room.volume is missing"),
        (f"{START}\n[parts.x]\nmodel = 'pms500'\n", "parts.x.model"),
        (f"parts = {{}}\n{START}", "is not valid TOML"),
    ],
)
def test_a_configuration_with_mistakes_is_left_as_it_is(
    tmp_path: Path, text: str, words: str
) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(text)
    with pytest.raises(ConfigurationError) as caught:
        add(path, [COUNTER], {})
    assert words in str(caught.value)
    assert ".bad-" not in str(caught.value)  # nobody is told of a file that is gone
    assert path.read_text() == text
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_a_file_that_is_not_there_is_begun_and_its_guess_is_called_one(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    added = add(path, ALL, {})
    assert path.read_text() == added
    assert "A GUESS: measure" in added
    assert stat.S_IMODE(path.stat().st_mode) == 0o644  # the daemon is another user
    assert set(load(path, {}).parts) == {"pms5003", "pms5003-2", "sht40"}
    assert add(path, ALL, {}) == ""
    assert path.read_text() == added


def test_the_first_part_that_sees_particles_gets_the_shipped_alarms(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    add(path, [CLIMATE], {})
    assert not load(path, {}).alarms
    added = add(path, ALL, {})
    alarms = load(path, {}).alarms
    assert list(alarms) == ["print", "hour"]
    assert {alarm.channel for alarm in alarms.values()} == {"pms5003.pm2_5"}
    shipped = load(Path(__file__).parents[3] / "config/example.toml", {}).alarms
    moved = {name: replace(alarm, channel="pms5003.pm2_5") for name, alarm in shipped.items()}
    assert alarms == moved
    assert added.count("[alarms.") == 2
    another = Found("/dev/x", "", ("sps30",), {"port": "/dev/x"})
    assert "alarms" not in add(path, [another], {})


def test_nothing_found_begins_no_file(tmp_path: Path) -> None:
    assert add(tmp_path / "new.toml", [NOBODY], {}) == ""
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(ConfigurationError, match="cannot be written"):
        add(tmp_path / "none" / "new.toml", ALL, {})


def test_mode_and_links_are_kept(tmp_path: Path, file: Path) -> None:
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(file.name)
    add(link, [COUNTER], {})
    assert link.is_symlink()
    assert stat.S_IMODE(file.stat().st_mode) == 0o640
    assert "pms5003-2" in file.read_text()


def test_a_folder_that_cannot_be_written_is_told(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any, **__: Any) -> Any:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(tempfile, "mkstemp", full)
    with pytest.raises(ConfigurationError, match=r"written \(No space left on device\)"):
        add(file, [COUNTER], {})
    assert file.read_text() == WITH_PART


def test_a_failure_at_the_last_moment_leaves_the_old_file(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(ConfigurationError):
        add(file, [COUNTER], {})
    assert file.read_text() == WITH_PART
    assert [p.name for p in file.parent.iterdir()] == [file.name]


def test_the_shipped_examples_take_it_and_keep_every_remark(tmp_path: Path) -> None:
    example = Path(__file__).parents[3] / "config/example.toml"
    path = tmp_path / "example.toml"
    path.write_bytes(example.read_bytes())
    add(path, [OTHER], {})
    assert path.read_bytes().startswith(example.read_bytes())
