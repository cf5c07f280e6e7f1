"""Where devices may be together: one port, one chip, one address."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from ventwright.settings.devices import Device, read_part
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.findings import Findings
from ventwright.settings.load import load
from ventwright.settings.places import check_places
from ventwright_drivers import registry
from ventwright_drivers.part import Part


@dataclass(frozen=True)
class Options:
    """Somebody else's part, at an address where expanders are too."""

    bus: int = 1
    address: int = 0x20


class Foreign(Part):
    """Somebody else's part."""

    model = "foreign1"
    Options = Options


def device(model: str, **options: Any) -> Device:
    driver = {**registry.relays(), **registry.parts(), "foreign1": Foreign}[model]
    return Device(driver, options)


A0 = {"port": "/dev/a", "channel": 1, "answers": False}
MODBUS = {"port": "/dev/a", "address": 1, "coil": 1, "baud": 9600, "parity": "N", "stop_bits": 1}
CHIP = {"bus": 1, "address": 0x20, "channel": 1, "active_low": True}


def complaints(parts: dict[str, Device], relays: dict[str, Device]) -> list[str]:
    findings = Findings("f", {}, {})
    check_places(parts, relays, findings)
    return [f"{m.place} {m.found}: {m.allowed}; {m.hint}" for m in findings.mistakes]


@pytest.mark.parametrize(
    ("model", "first", "second"),
    [
        ("relay-a0", A0, {**A0, "channel": 2}),
        ("relay-modbus", MODBUS, {**MODBUS, "coil": 2}),
        ("relay-modbus", MODBUS, {**MODBUS, "address": 2}),
        ("relay-pcf8574", CHIP, {**CHIP, "channel": 2}),
        ("relay-mcp23008", CHIP, {**CHIP, "channel": 2}),
    ],
)
def test_relays_of_one_board_share_its_place(model: str, first: Any, second: Any) -> None:
    assert complaints({}, {"a": device(model, **first), "b": device(model, **second)}) == []
    assert len(complaints({}, {"a": device(model, **first), "b": device(model, **first)})) == 1


def test_a_relay_where_a_part_is_on_the_bus_is_refused() -> None:
    parts = {"x": device("foreign1", bus=1, address=0x20)}
    found = complaints(parts, {"fan": device("relay-mcp23008", **CHIP)})
    assert found == [
        "relays.fan.address is 32 (0x20): an address without a part is needed; parts.x has this one"
    ]
    assert complaints(parts, {"fan": device("relay-mcp23008", **{**CHIP, "bus": 2})}) == []


def test_two_kinds_of_relay_at_one_place_are_refused() -> None:
    found = complaints(
        {}, {"a": device("relay-pcf8574", **CHIP), "b": device("relay-mcp23008", **CHIP)}
    )
    assert any(
        "relays.b.address is 32 (0x20): an address without another kind of" in f for f in found
    )
    found = complaints({}, {"a": device("relay-a0", **A0), "b": device("relay-modbus", **MODBUS)})
    assert found == [
        'relays.b.port is "/dev/a": a port without another kind of relay is needed; '
        "relays.a is a relay-a0 there"
    ]


@pytest.mark.parametrize(("option", "value"), [("baud", 19_200), ("parity", "E"), ("stop_bits", 2)])
def test_boards_on_one_line_set_it_up_alike(option: str, value: Any) -> None:
    other = {**MODBUS, "coil": 2, option: value}
    found = complaints(
        {}, {"a": device("relay-modbus", **MODBUS), "b": device("relay-modbus", **other)}
    )
    assert len(found) == 1
    assert found[0].startswith(f"relays.b.{option} is ")
    assert found[0].endswith("is needed; relays.a sets the same port up so")


def test_a_driver_of_others_that_does_not_load_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(registry, "_broken", {"foreign1": "the driver foreign1 is left out: why"})
    findings = Findings("f", {}, {})
    read_part({"model": "foreign1"}, ("parts", "x"), registry.parts(), findings)
    (mistake,) = findings.mistakes
    assert mistake.found == 'is "foreign1"'
    assert mistake.hint == "the driver foreign1 is left out: why"


@pytest.mark.parametrize(
    ("rest", "blind_after", "extract", "refused"),
    [
        (0, "2 min", "true", False),
        (10, "2 min", "true", True),
        (10, "11 min", "true", True),
        (10, "12 min", "true", False),
        (10, "2 min", "false", False),
    ],
)
def test_no_extractor_goes_blind_while_its_part_rests(
    rest: int, blind_after: str, extract: str, refused: bool, tmp_path: Path
) -> None:
    file = tmp_path / "c.toml"
    file.write_text(
        f"""
[room]
name = "r"
volume = 40
[store]
folder = "/nowhere"
[parts.bench]
model = "sds011"
port = "/dev/a"
rest = {rest}
[relays.fan]
model = "relay-a0"
port = "/dev/b"
[extractors.hood]
relay = "fan"
when_blind = "on"
blind_after = "{blind_after}"
[alarms.print]
channel = "bench.pm2_5"
setpoint = 10
deadband = 3
extract = {extract}
[parts.seats]
model = "scd41"
[alarms.stuffy]
channel = "seats.co2"
compare = "mean"
setpoint = 1500
deadband = 200
"""
    )
    if not refused:
        assert load(file, {}).parts["bench"].options.rest == rest
        return
    with pytest.raises(ConfigurationError) as caught:
        load(file, {})
    (mistake,) = caught.value.mistakes
    assert mistake.place == "extractors.hood.blind_after"
    assert mistake.allowed == "more than 11 min is needed"
    assert mistake.hint == "parts.bench rests that long, its warm-up included"
