"""What is no concentration is not compared as one: raw signals, and a CO2 that is inferred."""

from typing import Any

import pytest

from ventwright.settings.crossing import check_alarm
from ventwright.settings.devices import Device
from ventwright.settings.findings import Findings
from ventwright.settings.limits import limits
from ventwright_drivers import registry

PARTS = {
    name: Device(registry.parts()[model], {}, registry.parts()[model].quantities)
    for name, model in (("gas", "sgp41"), ("air", "ens160"), ("co2", "scd41"))
}


def mistakes(**alarm: Any) -> list[tuple[str, str, str]]:
    findings = Findings("f", {}, {})
    values = {"compare": "mean", "setpoint": 1000, "deadband": 100, **alarm}
    check_alarm(values, ("alarms", "x"), PARTS, findings)
    return [(m.place, m.allowed, m.hint) for m in findings.mistakes]


@pytest.mark.parametrize("limit", sorted(limits()))
def test_no_limit_is_compared_with_an_inferred_co2(limit: str) -> None:
    assert mistakes(channel="air.eco2", limit=limit) == [
        (
            "alarms.x.limit",
            "no limit applies to eco2: it is inferred, and no CO2 measurement",
            "",
        )
    ]


def test_it_may_still_be_watched_for_what_it_is() -> None:
    assert mistakes(channel="air.eco2") == []
    assert mistakes(channel="co2.co2") == []


@pytest.mark.parametrize("compare", ["mean", "rise", "rate", "forecast"])
@pytest.mark.parametrize("quantity", ["voc_raw", "nox_raw"])
def test_a_raw_signal_has_no_setpoint(compare: str, quantity: str) -> None:
    ((place, allowed, hint),) = mistakes(channel=f"gas.{quantity}", compare=compare)
    assert place == "alarms.x.compare"
    assert allowed == '"departure" or "silence" is needed'
    assert hint == f"{quantity} is a raw signal, and no concentration"


def off(channel: str, setpoint: float = 20, deadband: float = 5) -> list[tuple[str, str, str]]:
    return mistakes(channel=channel, compare="departure", setpoint=setpoint, deadband=deadband)


def test_how_far_it_is_off_clean_air_may_be_told() -> None:
    assert off("gas.voc_raw") == off("gas.nox_raw", 150) == []
    ((place, allowed, _),) = off("gas.voc_raw", 100)
    assert (place, allowed.split(":")[0]) == ("alarms.x.setpoint", "below 100 is needed")
    assert off("gas.voc_raw", 0)[0][1] == "a number above 0 in % is needed"
    ((place, allowed, _),) = off("co2.co2")
    assert place == "alarms.x.compare"
    assert allowed == "that is for raw signals only: voc_raw, nox_raw or gas_resistance"


def test_its_silence_may_be_told() -> None:
    assert mistakes(channel="gas.voc_raw", compare="silence") == []
