"""Checks [parts.NAME] and [relays.NAME]: our own keys, then the options of the driver named."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

from annotated_types import Interval

from ventwright.settings.fields import build, check, names, unknown_keys
from ventwright.settings.findings import Findings, Place, listed, nearest, show
from ventwright.settings.model import (
    SECOND,
    Calibration,
    Duration,
    Name,
    PartEntry,
    RelayEntry,
)
from ventwright.standards.humid import KAPPA
from ventwright_drivers.registry import broken, where

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,31}")
NAME_RULE = "lowercase letters, digits, - and _ are allowed in a name, 32 at most"


@dataclass(frozen=True)
class PartHead:
    """The keys of a part that are not its driver's."""

    model: Name
    quantities: tuple[str, ...] | None = None
    humidity: Name | None = None
    humidity_correction: bool = False
    kappa: Annotated[float, Interval(gt=0, le=2)] = KAPPA
    calibration: dict[str, dict[str, Any]] = field(default_factory=dict)


@dataclass(frozen=True)
class RelayHead:
    """The keys of a relay that are not its driver's."""

    model: Name
    safe_state: Literal["off", "on"] = "off"
    repeat_every: Duration = 10 * SECOND


@dataclass
class Device:
    """What could be read of one device: enough to check what refers to it."""

    driver: type[Any] | None = None
    options: dict[str, Any] = field(default_factory=dict)
    quantities: tuple[str, ...] = ()
    """Those that are kept."""
    head: Mapping[str, Any] = field(default_factory=dict)
    """The good values of our own keys."""
    entry: Any = None
    """PartEntry or RelayEntry, if nothing is wrong."""


def named_tables(
    tables: Mapping[str, Any], place: Place, findings: Findings
) -> dict[str, dict[str, Any]]:
    """Give the tables of a section whose entries have names; the others are told."""
    good: dict[str, dict[str, Any]] = {}
    for name, table in tables.items():
        if not _NAME.fullmatch(name):
            findings.add((*place, name), "is not a name", NAME_RULE)
        elif isinstance(table, dict):
            good[name] = table
        else:
            where = f"[{place[0]}.NAME]"
            findings.add((*place, name), "is not in a table of its own", f"{where} is needed")
    return good


def read_part(table: dict[str, Any], place: Place, drivers: Any, findings: Findings) -> Device:
    """Check a part."""
    device, head = _read(PartHead, table, place, drivers, findings)
    if device.driver:
        built = _built(device, place, findings)
        given = device.driver.quantities_of(built[2]) if built else device.driver.quantities
        device.quantities = _kept(head.get("quantities"), given, device.driver, place, findings)
        calibration = _calibration(head.get("calibration", {}), device, place, findings)
        if built and head.keys() == names(PartHead):
            told = {key: head[key] for key in ("humidity", "humidity_correction", "kappa")}
            entry = PartEntry(*built, device.quantities, **told, calibration=calibration)
            device.entry = entry
    return device


def _calibration(
    tables: dict[str, dict[str, Any]], device: Device, place: Place, findings: Findings
) -> dict[str, Calibration]:
    built = {}
    for quantity, table in tables.items():
        spot = (*place, "calibration", quantity)
        if quantity not in device.quantities:
            kept = f"quantities kept here are {listed(device.quantities)}"
            findings.add(spot, "is not kept", kept, nearest(quantity, device.quantities))
            continue
        unknown_keys(table, names(Calibration), spot, findings)
        values = check(Calibration, table, spot, findings)
        built[quantity] = build(Calibration, values, spot, findings)
    return built


def read_relay(table: dict[str, Any], place: Place, drivers: Any, findings: Findings) -> Device:
    """Check a relay."""
    device, head = _read(RelayHead, table, place, drivers, findings)
    if (
        device.driver
        and head.keys() == names(RelayHead)
        and (built := _built(device, place, findings))
    ):
        device.entry = RelayEntry(*built, head["safe_state"], head["repeat_every"])
    return device


def _read(
    head_type: type[Any],
    table: dict[str, Any],
    place: Place,
    drivers: Mapping[str, type[Any]],
    findings: Findings,
) -> tuple[Device, dict[str, Any]]:
    head = check(head_type, table, place, findings)
    driver = _driver(head.get("model"), (*place, "model"), drivers, findings)
    if driver is None:
        return Device(), head
    unknown_keys(table, names(head_type) | names(driver.Options), place, findings)
    options = check(driver.Options, table, place, findings)
    return Device(driver, options, head=head), head


def _driver(
    model: str | None, place: Place, drivers: Mapping[str, type[Any]], findings: Findings
) -> type[Any] | None:
    if model is not None and model not in drivers:
        if why := broken().get(model):
            findings.refuse(place, model, "a driver that loads is needed", why)
            return None
        known = f"known are {listed(drivers)}"
        findings.refuse(place, model, known, nearest(model.lower(), drivers))
    return drivers.get(model or "")


def _built(device: Device, place: Place, findings: Findings) -> tuple[str, str, Any] | None:
    driver = device.driver
    options = driver and build(driver.Options, device.options, place, findings)
    return (driver.model, where(driver), options) if driver and options is not None else None


def _kept(
    wanted: tuple[str, ...] | None,
    given: tuple[str, ...],
    driver: Any,
    place: Place,
    findings: Findings,
) -> tuple[str, ...]:
    if wanted is None:
        return given
    if problem := _wrong(wanted, given):
        findings.add((*place, "quantities"), problem, f"{driver.model} gives {listed(given)}")
        return given
    return tuple(name for name in given if name in wanted)


def _wrong(wanted: tuple[str, ...], given: Iterable[str]) -> str:
    if not wanted:
        return "is empty"
    if strange := next((name for name in wanted if name not in given), None):
        return f"names {show(strange)}"
    return "names one twice" if len(set(wanted)) < len(wanted) else ""
