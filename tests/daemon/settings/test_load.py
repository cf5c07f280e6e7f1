from collections.abc import Callable
from pathlib import Path

import pytest

from ventwright.settings import model
from ventwright.settings.load import load
from ventwright_drivers.i2c.sht import Sht4xOptions
from ventwright_drivers.relay.a0 import A0Options
from ventwright_drivers.serial.resting import RestingOptions

Write = Callable[[str], Path]


def test_everything_written_arrives_and_the_rest_has_its_default(base: str, write: Write) -> None:
    settings = load(write(base), {})
    assert settings == model.Settings(
        room=model.Room("workshop", 40.0),
        store=model.Storage(Path("/var/lib/ventwright"), 50_000),
        parts={
            "bench": model.PartEntry(
                "pms5003",
                "ventwright_drivers.serial.pms:Pms5003",
                RestingOptions("/dev/ttyUSB0"),
                ("pm1", "pm2_5", "pm10", "n0_3", "n0_5", "n1", "n2_5", "n5", "n10"),
            ),
            "climate": model.PartEntry(
                "sht40",
                "ventwright_drivers.i2c.sht:Sht40",
                Sht4xOptions(1, 0x44),
                ("temperature", "humidity"),
            ),
        },
        relays={
            "board": model.RelayEntry(
                "relay-a0",
                "ventwright_drivers.relay.a0:A0Relay",
                A0Options("/dev/ttyUSB1"),
                "off",
                10_000,
            )
        },
        extractors={"hood": model.Extractor("board", "on", 120_000, 180_000, 60_000, 600_000)},
        alarms={"fast": model.Alarm("bench.pm2_5", 25.0, 5.0)},
        database=model.Database("http://localhost:8086", "air"),
        phone=model.Phone(too_old=86_400_000),
    )


def test_options_are_the_drivers_own_class(base: str, write: Write) -> None:
    settings = load(write(base), {})
    assert type(settings.parts["bench"].options) is RestingOptions
    assert type(settings.room) is model.Room


def test_quantities_come_in_the_order_of_the_driver(base: str, write: Write) -> None:
    named = base.replace('"/dev/ttyUSB0"', '"/dev/ttyUSB0"\nquantities = ["pm10", "pm2_5"]')
    assert load(write(named), {}).parts["bench"].quantities == ("pm2_5", "pm10")


def test_relative_paths_count_from_the_file(base: str, write: Write, tmp_path: Path) -> None:
    near = base.replace('"/var/lib/ventwright"', '"./data"')
    near = near.replace('bucket = "air"', 'bucket = "air"\ntoken_file = "../token"')
    settings = load(write(near), {})
    assert settings.store.folder == tmp_path / "data"
    assert settings.database is not None
    assert settings.database.token_file == tmp_path / "../token"


@pytest.mark.parametrize(
    ("name", "value", "look", "expected"),
    [
        ("ROOM__VOLUME", "45", lambda s: s.room.volume, 45.0),
        ("ROOM__NAME", "12", lambda s: s.room.name, "12"),
        ("PARTS__BENCH__PORT", "/dev/ttyS9", lambda s: s.parts["bench"].options.port, "/dev/ttyS9"),
        ("PARTS__CLIMATE__ADDRESS", "0x45", lambda s: s.parts["climate"].options.address, 0x45),
        (
            "PARTS__BENCH__QUANTITIES",
            '["pm1", "pm2_5"]',
            lambda s: s.parts["bench"].quantities,
            ("pm1", "pm2_5"),
        ),
        ("CLOCK__HAS_BATTERY", "true", lambda s: s.clock.has_battery, True),
        ("EXTRACTORS__HOOD__RUN_ON", "5 min", lambda s: s.extractors["hood"].run_on, 300_000),
    ],
)
def test_the_environment_goes_above_the_file(
    base: str, write: Write, name: str, value: str, look: Callable[..., object], expected: object
) -> None:
    assert look(load(write(base), {f"VENTWRIGHT_{name}": value})) == expected


def test_a_variable_may_add_what_the_file_leaves_out(base: str, write: Write) -> None:
    less = base.replace("volume = 40\n", "")
    assert load(write(less), {"VENTWRIGHT_ROOM__VOLUME": "45"}).room.volume == 45


def test_other_variables_do_not_matter(base: str, write: Write) -> None:
    plain = load(write(base), {})
    environ = {"VENTWRIGHT_CONFIG": "/etc/x.toml", "ROOM__VOLUME": "1", "PATH": "/bin"}
    assert load(write(base), environ) == plain


def test_the_real_environment_is_not_looked_at(
    base: str, write: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("VENTWRIGHT_ROOM__VOLUME", "99")
    assert load(write(base), {}).room.volume == 40


def test_temperature_may_have_a_setpoint_below_zero(base: str, write: Write) -> None:
    cold = base.replace("bench.pm2_5", "climate.temperature")
    cold = cold.replace("setpoint = 25", 'setpoint = -10\ncompare = "mean"')
    assert load(write(cold), {}).alarms["fast"].setpoint == -10
