"""A mistake in a part or a channel hides none of the alarm's own."""

from pathlib import Path

import pytest

from ventwright.settings.errors import ConfigurationError
from ventwright.settings.load import load

TEXT = """
[room]
name = "r"
volume = 40
[store]
folder = "./store"
[parts.bench]
model = "{model}"
port = "./bench"
[alarms.fast]
channel = "{channel}"
setpoint = 9
deadband = 3
limit = "no-such-limit"
"""


@pytest.mark.parametrize(
    ("model", "channel", "wrong"),
    [
        ("pms5003", "bench.pm99", {"alarms.fast.channel", "alarms.fast.limit"}),
        ("pms9", "bench.pm2_5", {"parts.bench.model", "alarms.fast.limit"}),
        (
            "pms9",
            "bench.pm99",
            {"parts.bench.model", "alarms.fast.channel", "alarms.fast.limit"},
        ),
    ],
)
def test_all_mistakes_at_once(model: str, channel: str, wrong: set[str], tmp_path: Path) -> None:
    file = tmp_path / "config.toml"
    file.write_text(TEXT.format(model=model, channel=channel))
    with pytest.raises(ConfigurationError) as caught:
        load(file, {})
    assert {mistake.place for mistake in caught.value.mistakes} == wrong
