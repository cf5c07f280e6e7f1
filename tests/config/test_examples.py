"""The examples load, explain themselves, and stay loadable when their remarks are taken away."""

import re
from pathlib import Path

import pytest

from ventwright.settings.load import load
from ventwright.settings.model import Calibration, Settings
from ventwright.settings.shipped import shipped

NAMES = ["example.toml", "school.toml"]
_SWITCHED_OFF = re.compile(
    r"^# (?=\[[a-z0-9_.]+\]$|[a-z_]+ = \S+$|[a-z_]+ = \"[^\"]*\"$|[a-z_]+ = \[.*\]$)", re.MULTILINE
)


def text_of(name: str) -> str:
    return shipped(name).read_text(encoding="utf-8")


def loaded(text: str, folder: Path) -> Settings:
    path = folder / "config.toml"
    path.write_text(text, encoding="utf-8")
    return load(path, {})


@pytest.mark.parametrize("name", NAMES)
def test_an_example_loads(name: str, tmp_path: Path) -> None:
    settings = loaded(text_of(name), tmp_path)
    assert settings.parts
    assert settings.relays
    assert settings.extractors
    assert settings.phone is not None


@pytest.mark.parametrize("name", NAMES)
def test_an_example_loads_with_everything_switched_on(name: str, tmp_path: Path) -> None:
    settings = loaded(_SWITCHED_OFF.sub("", text_of(name)), tmp_path)
    if name == "example.toml":
        bench = settings.parts["bench"]
        assert (bench.humidity, bench.humidity_correction) == ("climate.humidity", True)
        assert bench.calibration == {"pm2_5": Calibration(0.8, 1.12)}
        assert settings.database is not None
        assert settings.database.token_file == tmp_path / "database-token"
        assert settings.phone is not None
        assert settings.phone.services_file == tmp_path / "phone-services"


@pytest.mark.parametrize("name", NAMES)
def test_an_example_begins_with_the_caution(name: str) -> None:
    head = re.sub(r"\n# ?", " ", text_of(name)[:900])
    assert "CAUTION" in head
    assert "not a certified alarm and no medical device" in head
    assert "Certified smoke and CO alarms stay" in head
    assert "wired by people who are licensed" in head


def test_the_workshop_is_the_one_that_was_promised(tmp_path: Path) -> None:
    settings = loaded(text_of("example.toml"), tmp_path)
    assert {part.model for part in settings.parts.values()} == {"pms5003", "sht40"}
    assert [relay.model for relay in settings.relays.values()] == ["relay-a0"]
    assert [(a.compare, a.over) for a in settings.alarms.values()] == [
        ("rise", 20_000),
        ("mean", 3_600_000),
    ]


def test_the_school_is_the_one_that_was_promised(tmp_path: Path) -> None:
    settings = loaded(text_of("school.toml"), tmp_path)
    assert {part.model for part in settings.parts.values()} == {"sds011", "scd41"}
    assert [relay.model for relay in settings.relays.values()] == ["relay-modbus"]


def test_the_example_shows_every_key_of_the_model() -> None:
    from dataclasses import fields

    from ventwright.settings import model
    from ventwright.settings.devices import PartHead, RelayHead

    text = text_of("example.toml")
    tables = (model.Room, model.Storage, model.Extractor, model.Alarm, model.ClockEntry)
    heads = (PartHead, RelayHead, model.Calibration)
    for cls in (*tables, *heads, model.Database, model.Phone, model.PersonEntry, model.Reporting):
        for field in fields(cls):
            if field.name == "calibration":
                continue
            assert re.search(rf"^(# )?{field.name} = ", text, re.MULTILINE), field.name


def test_every_key_of_the_example_is_explained() -> None:
    unexplained, explained = [], False
    for line in text_of("example.toml").splitlines():
        if line.startswith("#"):
            explained = not _SWITCHED_OFF.match(line) or explained
        elif "=" in line and not explained:
            unexplained.append(line)
        elif not line.strip():
            explained = False
    assert unexplained == [
        line
        for line in unexplained
        if line.split(" = ")[0]
        in {"compare", "setpoint", "deadband", "over", "on_delay", "off_delay", "priority", "port"}
    ]
