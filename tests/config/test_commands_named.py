"""Every command that a text tells people to type is one that exists."""

import re
from pathlib import Path

import pytest

from ventwright import cli

ROOT = Path(__file__).parents[2]
TEXTS = [
    ROOT / "README.md",
    ROOT / "systemd" / "README.md",
    *sorted((ROOT / "config").glob("*.toml")),
    *sorted((ROOT / "daemon").rglob("*.py")),
]
_NAMED = re.compile(r"(?:`|bin/)ventwright ([a-z][a-z-]*)")


@pytest.mark.parametrize("text", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_commands_that_are_named_exist(text: Path) -> None:
    named = set(_NAMED.findall(text.read_text(encoding="utf-8")))
    assert named <= set(cli._COMMANDS)


def test_no_example_names_a_report() -> None:
    assert "Look at a report" not in (ROOT / "config" / "example.toml").read_text(encoding="utf-8")
