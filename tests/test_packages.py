"""What is installed is what is here: every package is listed in pyproject.toml."""

import subprocess
import tomllib
from pathlib import Path

HOUSE = Path(__file__).parents[1]


def test_every_package_is_installed() -> None:
    told = tomllib.loads((HOUSE / "pyproject.toml").read_text())
    here = {"ventwright.config"}
    for root in (HOUSE / "daemon", HOUSE / "drivers"):
        files = root.rglob("__init__.py")
        here |= {".".join(file.parent.relative_to(root).parts) for file in files}
    assert set(told["tool"]["setuptools"]["packages"]) == here


def test_nothing_else_is_at_the_top() -> None:
    command = ["git", "-C", str(HOUSE), "ls-tree", "--name-only", "HEAD"]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    shown = {name for name in told.split() if not name.startswith(".")}
    house = {"README.md", "DEVELOPERS.md", "pyproject.toml", "daemon", "drivers", "config"}
    assert shown == house | {"systemd", "tests"}
