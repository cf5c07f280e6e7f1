"""The worked example of DEVELOPERS.md, taken from the page, installed and used as it says."""

import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

import pytest

from fakes import FakeClock, twin_wiring
from ventwright.keeper.process import build_part
from ventwright.settings.plan import read_settings
from ventwright_drivers import registry

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "DEVELOPERS.md").read_text()
FENCED = re.compile(r"^```(?:python|toml)\n# ([\w/.]+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
FILES = {name: text for name, text in FENCED.findall(PAGE) if "dust7" in name + text}

CONFIGURATION = """
[room]
name = "workshop"
volume = 40
[store]
folder = "/nowhere"
[parts.bench]
model = "dust7"
port = "/dev/dust"
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of packages in which the example is installed."""
    folder = tmp_path_factory.mktemp("site")
    for name, text in FILES.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text)
    project = tomllib.loads(FILES["pyproject.toml"])["project"]
    info = folder / f"ventwright_dust7-{project['version']}.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Name: {project['name']}\nVersion: {project['version']}\n")
    groups = [
        "\n".join((f"[{group}]", *(f"{name} = {value}" for name, value in entries.items())))
        for group, entries in project["entry-points"].items()
    ]
    (info / "entry_points.txt").write_text("\n".join(groups))
    return folder


@pytest.fixture
def environ(site: Path) -> dict[str, str]:
    paths = (str(site), str(ROOT / "tests"))
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONDONTWRITEBYTECODE": "1"}


@pytest.fixture
def installed(site: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.syspath_prepend(str(site))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    registry.search_again()
    yield
    monkeypatch.undo()
    registry.search_again()


def run(environ: dict[str, str], *words: str) -> str:
    command = [sys.executable, "-m", *words]
    done = subprocess.run(
        command, cwd=ROOT, env=environ, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def pytest_(environ: dict[str, str], *words: str) -> str:
    """Run tests in a process of their own; give the last line."""
    said = run(environ, "pytest", "-q", "-p", "no:cacheprovider", "--no-header", *words)
    return said.strip().splitlines()[-1]


def test_it_is_three_files_and_the_driver_is_short() -> None:
    assert set(FILES) == {
        "ventwright_dust7/driver.py",
        "ventwright_dust7/twin.py",
        "test_dust7.py",
        "pyproject.toml",
    }
    code = [line for line in FILES["ventwright_dust7/driver.py"].splitlines() if line.strip()]
    assert len(code) <= 35


def test_its_own_test_passes_and_can_fail(site: Path, environ: dict[str, str]) -> None:
    assert "2 passed" in pytest_(environ, str(site / "test_dust7.py"))
    driver = site / "ventwright_dust7" / "driver.py"
    whole = driver.read_text()
    try:
        driver.write_text(whole.replace("data[3] != sum8(data[:3])", "False"))
        with pytest.raises(AssertionError, match="1 failed, 1 passed"):
            pytest_(environ, str(site / "test_dust7.py"))
    finally:
        driver.write_text(whole)


def test_the_rules_of_the_house_run_over_it(environ: dict[str, str]) -> None:
    assert re.match(
        r"1\d passed", pytest_(environ, "tests/drivers/test_every_driver.py", "-k", "dust7")
    )


@pytest.mark.usefixtures("installed")
def test_a_configuration_names_it_and_the_keeper_reads_it(
    tmp_path: Path, environ: dict[str, str]
) -> None:
    file = tmp_path / "ventwright.toml"
    file.write_text(CONFIGURATION)
    entry = read_settings(file, environ).parts["bench"]
    assert entry.driver == "ventwright_dust7.driver:Dust7"
    assert entry.quantities == ("pm2_5",)
    clock, twin = FakeClock(), registry.twins()["dust7"](lambda _: 12.3)
    with build_part(entry, twin_wiring(clock, twin)) as part:
        sample: Any = part.read()
    assert sample.values == (12.3,)
    assert "dust7" in registry.parts()


def test_it_is_gone_once_it_is_not_installed() -> None:
    assert "dust7" not in {entry.name for entry in entry_points(group="ventwright.parts")}


def test_the_example_is_written_as_the_house_writes(site: Path, environ: dict[str, str]) -> None:
    names = [str(site / name) for name in FILES if name.endswith(".py")]
    for words in (("format", "--check"), ("check", "--ignore", "I001,D103")):
        run(environ, "ruff", *words, "--config", str(ROOT / "pyproject.toml"), "--no-cache", *names)
