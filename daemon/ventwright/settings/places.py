"""Checks that no two devices are at one place, and that those that share one can."""

import os
from collections.abc import Callable, Mapping
from typing import Any

from ventwright.settings.devices import Device
from ventwright.settings.durations import format_duration
from ventwright.settings.fields import names
from ventwright.settings.findings import Findings, show
from ventwright.settings.model import MINUTE, SECOND

Devices = Mapping[str, Device]

_AN = {"port": "a port", "address": "an address"}


def check_places(parts: Devices, relays: Devices, findings: Findings) -> None:
    """Check that no two devices are at one place: port, address on a bus, or contact."""
    _alone("parts", parts, "port", _port, findings)
    _alone("parts", parts, "address", _address, findings)
    _alone("relays", relays, "", _contact, findings)
    for key, of in (("port", _port), ("address", _chip)):
        _apart(parts, relays, key, of, findings)
    _like(relays, "port", _port, ("baud", "parity", "stop_bits"), findings)
    _like(relays, "address", _chip, (), findings)


def _apart(
    parts: Devices, relays: Devices, key: str, of: Callable[[Device], Any], findings: Findings
) -> None:
    """Check that no relay is where a part is."""
    taken = {of(device): name for name, device in parts.items()}
    for name, device in relays.items():
        if (spot := of(device)) is not None and spot in taken:
            hint = f"parts.{taken[spot]} has this one"
            allowed = f"{_AN[key]} without a part is needed"
            findings.refuse(("relays", name, key), device.options[key], allowed, hint)


def _like(
    relays: Devices,
    key: str,
    of: Callable[[Device], Any],
    alike: tuple[str, ...],
    findings: Findings,
) -> None:
    """Check that relays at one place are of one kind and set the line up alike."""
    seen: dict[Any, tuple[str, Device]] = {}
    for name, device in relays.items():
        if not device.driver or (spot := of(device)) is None:
            continue
        other, first = seen.setdefault(spot, (name, device))
        if first.driver is not device.driver:
            hint = f"relays.{other} is a {first.driver and first.driver.model} there"
            allowed = f"{_AN[key]} without another kind of relay is needed"
            findings.refuse(("relays", name, key), device.options[key], allowed, hint)
            continue
        for option in alike:
            _alike(name, device, other, first, option, findings)


def _alike(
    name: str, device: Device, other: str, first: Device, option: str, findings: Findings
) -> None:
    value, wanted = device.options.get(option), first.options.get(option)
    if value != wanted:
        hint = f"relays.{other} sets the same port up so"
        findings.refuse(("relays", name, option), value, f"{show(wanted)} is needed", hint)


def _alone(
    section: str,
    devices: Devices,
    key: str,
    of: Callable[[Device], Any],
    findings: Findings,
) -> None:
    seen: dict[Any, str] = {}
    for name, device in devices.items():
        spot = of(device)
        if spot is None:
            continue
        if spot in seen:
            place = (section, name, key) if key else (section, name)
            what = f"is the same {key or 'contact'} as that of {section}.{seen[spot]}"
            findings.add(place, what, "each needs its own")
        seen.setdefault(spot, name)


def _port(device: Device) -> str | None:
    return _real(device.options.get("port"))


def _real(path: object) -> str | None:
    return os.path.realpath(path) if isinstance(path, str) and path.isprintable() else None


def _address(device: Device) -> tuple[Any, ...] | None:
    """Give where a part is on a bus; parts at inputs of one converter are apart."""
    bus, address = device.options.get("bus"), device.options.get("address")
    both = bus is not None and address is not None
    return (bus, address, device.options.get("input")) if both else None


def _chip(device: Device) -> tuple[Any, Any] | None:
    """Give the bus and address of a device, whatever it uses of the chip there."""
    bus, address = device.options.get("bus"), device.options.get("address")
    return None if bus is None or address is None else (bus, address)


def _contact(device: Device) -> tuple[Any, ...] | None:
    """Give what tells one contact from another; None if the driver has other words for it."""
    if not device.driver or not names(device.driver.Options) <= device.options.keys():
        return None
    spot = [device.options.get(key) for key in ("address", "channel", "coil", "line")]
    line = _port(device) or _real(device.options.get("chip")) or device.options.get("bus")
    return None if line is None else (line, *spot)


def check_rests(
    alarms: Mapping[str, Any], extractors: Mapping[str, Any], parts: Devices, findings: Findings
) -> None:
    """Check that no extractor goes blind while a part on which it is decided rests."""
    watched = {a.channel.partition(".")[0] for a in alarms.values() if a and a.extract}
    gaps = {name: _gap(parts[name]) for name in watched if name in parts}
    longest = max(gaps, key=lambda name: gaps[name], default="")
    for name, extractor in extractors.items():
        if extractor and longest and 0 < gaps[longest] >= extractor.blind_after:
            needed = f"more than {format_duration(gaps[longest])} is needed"
            hint = f"parts.{longest} rests that long, its warm-up included"
            place, shown = ("extractors", name, "blind_after"), extractor.blind_after
            findings.refuse(place, format_duration(shown), needed, hint)


def _gap(device: Device) -> int:
    """Tell how long a part that rests gives nothing good, ms, half a minute to spare; else 0."""
    rest = device.options.get("rest") or 0
    warm_up: int = device.driver.warm_up_ms if device.driver else 0
    return rest * MINUTE + warm_up + 30 * SECOND if rest else 0
