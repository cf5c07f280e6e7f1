import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from ventwright.settings import plan
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.load import load
from ventwright.settings.plan import read_settings

Write = Callable[[str], Path]

PROBE = """
import sys
from pathlib import Path
from ventwright.settings.plan import read_settings
settings = read_settings(Path(sys.argv[1]))
heavy = {"pydantic", "pydantic_core", "pydantic_settings", "gpiod"} & sys.modules.keys()
print(settings.room.name, sorted(heavy))
"""


def test_the_child_reads_what_load_reads(base: str, write: Write) -> None:
    path = write(base)
    assert read_settings(path) == load(path, {})


def test_the_child_obeys_the_environment_it_is_given(base: str, write: Write) -> None:
    assert read_settings(write(base), {"VENTWRIGHT_ROOM__VOLUME": "45"}).room.volume == 45


def test_the_reader_never_loads_the_checking_library(base: str, write: Write) -> None:
    command = [sys.executable, "-c", PROBE, str(write(base))]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout == "workshop []\n"


def test_mistakes_come_through_as_load_raises_them(base: str, write: Write) -> None:
    path = write(base.replace("volume = 40", 'volume = "big"').replace("25", "0"))
    with pytest.raises(ConfigurationError) as here:
        load(path, {})
    with pytest.raises(ConfigurationError) as there:
        read_settings(path)
    assert there.value.mistakes == here.value.mistakes
    assert len(there.value.mistakes) == 2


def test_a_missing_file_comes_through(tmp_path: Path) -> None:
    with pytest.raises(ConfigurationError, match="does not exist: a TOML file"):
        read_settings(tmp_path / "gone.toml")


def test_a_driver_that_prints_does_not_spoil_the_answer(base: str, write: Write) -> None:
    path = write(base)
    code = (
        "import sys, ventwright.settings.load as l, ventwright.settings.child as c\n"
        "real = l.load\n"
        "def load(*a):\n    print('noise', flush=True)\n    return real(*a)\n"
        "l.load = load\n"
        f"sys.argv = ['child', {str(path)!r}]\n"
        "sys.exit(c.main())\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    assert b"noise" in done.stderr
    assert plan._answer(path, 0, done.stdout) == load(path, {})


def test_a_child_that_dies_is_a_mistake_not_a_crash(tmp_path: Path) -> None:
    with pytest.raises(ConfigurationError, match="ended with status -9: the file is checked by"):
        plan._answer(tmp_path, -9, b"")


def test_a_child_that_hangs_is_a_mistake(
    base: str, write: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plan, "_LONGEST_S", 0)
    with pytest.raises(ConfigurationError, match="was not read within 0 s"):
        read_settings(write(base))


def test_a_path_that_no_process_takes_is_a_mistake() -> None:
    with pytest.raises(ConfigurationError, match="was not read: no child process"):
        read_settings(Path("a\0b"))


def test_nobody_waiting_for_the_answer_is_no_traceback(tmp_path: Path) -> None:
    """As when a process is stopped while it begins."""
    command = [sys.executable, "-m", "ventwright.settings.child", str(tmp_path / "none.toml")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.close()
        assert child.stderr.read() == b""
