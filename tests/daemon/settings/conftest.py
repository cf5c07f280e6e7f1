from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from ventwright.settings.errors import ConfigurationError
from ventwright.settings.load import load

BASE = """\
[room]
name = "workshop"
volume = 40
[store]
folder = "/var/lib/ventwright"
[parts.bench]
model = "pms5003"
port = "/dev/ttyUSB0"
[parts.climate]
model = "sht40"
[relays.board]
model = "relay-a0"
port = "/dev/ttyUSB1"
[extractors.hood]
relay = "board"
when_blind = "on"
[alarms.fast]
channel = "bench.pm2_5"
setpoint = 25
deadband = 5
[database]
url = "http://localhost:8086"
bucket = "air"
[phone]
too_old = "1 d"
"""

Complain = Callable[..., list[str]]


@pytest.fixture
def base() -> str:
    return BASE


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Write config.toml into the folder that the test then stands in."""
    monkeypatch.chdir(tmp_path)

    def write(text: str) -> Path:
        Path("config.toml").write_text(text, encoding="utf-8")
        return Path("config.toml")

    return write


@pytest.fixture
def complain(write: Callable[[str], Path]) -> Complain:
    """Give the sentences with which a text is refused; none if it is taken."""

    def complain(text: str, environ: Mapping[str, str] | None = None) -> list[str]:
        try:
            load(write(text), environ or {})
        except ConfigurationError as error:
            return str(error).split("\n")
        return []

    return complain
