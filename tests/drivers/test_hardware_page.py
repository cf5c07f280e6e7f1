"""The hardware page of README.md: every driver found stands there as its class says."""

import re
import typing
from pathlib import Path
from typing import Any

import pytest

from ventwright.settings.durations import format_duration
from ventwright_drivers import registry
from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.part import Device, Part

PARTS = registry.parts()
RELAYS = registry.relays()
PAGE = (Path(__file__).parents[2] / "README.md").read_text().partition("## Hardware")[2]


def rows(pattern: str, text: str = PAGE) -> list[list[str]]:
    lines = [line for line in text.splitlines() if re.match(rf"\| {pattern}", line)]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]


TOLD = {row[0].strip("`"): row for row in rows("`[a-z]")}


def addresses(driver: type[Device]) -> set[int]:
    hint: Any = typing.get_type_hints(driver.Options).get("address")
    return set(typing.get_args(hint)) if typing.get_origin(hint) is typing.Literal else set()


def test_there_is_one_row_for_each_and_none_for_what_we_do_not_have() -> None:
    assert [row[0].strip("`") for row in rows("`[a-z]")] == list(TOLD)
    assert set(TOLD) == {*PARTS, *RELAYS}


@pytest.mark.parametrize("model", PARTS)
def test_quantities_times_and_bus_are_those_of_the_driver(model: str) -> None:
    driver: type[Part] = PARTS[model]
    _, bus, quantities, period, warm, life, accuracy, quirks = TOLD[model]
    assert quantities == ", ".join(driver.quantities)
    assert period == f"{driver.period_ms / 1000:g} s"
    times = [format_duration(driver.warm_up_ms)] if driver.warm_up_ms else ["-"]
    times += [f"{name} {format_duration(ms)}" for name, ms in driver.settle_ms.items()]
    assert warm == "; ".join(times)
    assert all((life, accuracy, quirks))
    if issubclass(driver.Options, I2COptions):
        assert bus == "I2C, " + ", ".join(f"0x{a:02X}" for a in sorted(addresses(driver)))
    else:
        assert bus in (f"serial, {getattr(driver, 'baud', 0)}", "GPIO")


def test_the_address_table_has_every_address_of_every_driver() -> None:
    told = {
        (int(address, 16), model)
        for cells, models in rows("`0x")
        for address in re.findall("0x[0-9A-F]+", cells)
        for model in models.split(", ")
    }
    known = {**PARTS, **RELAYS}
    assert told == {(a, name) for name, driver in known.items() for a in addresses(driver)}


def test_sensors_that_are_no_instruments_say_so() -> None:
    assert "no certified CO alarm" in TOLD["ze07-co"][-1]
    assert "no CO2 measurement" in TOLD["ens160"][-1]
    assert "do not see ultrafine particles" in PAGE
