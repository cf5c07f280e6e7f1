"""Checks what refers to something else: channels, relays and limits."""

from collections.abc import Iterable, Mapping
from typing import Any

from ventwright.settings.devices import Device
from ventwright.settings.durations import format_duration
from ventwright.settings.findings import Findings, Place, listed, nearest, show
from ventwright.settings.hours import parse_hours, parse_time
from ventwright.settings.limits import limits
from ventwright.settings.quiet import parse_quiet
from ventwright_drivers.quantities import QUANTITIES, Quantity

Devices = Mapping[str, Device]
Values = Mapping[str, Any]


def check_extractor(
    values: Values, place: Place, relays: Devices, users: dict[str, str], findings: Findings
) -> None:
    """Check that an extractor's relay exists and is its own; `users` remembers who has which."""
    relay = values.get("relay")
    key = (*place, "relay")
    if relay is None:
        return
    if relay not in relays:
        findings.refuse(key, relay, f"relays here: {listed(relays)}", nearest(relay, relays))
    elif relay in users:
        other = f"a relay of its own is needed, and extractors.{users[relay]} has this one"
        findings.refuse(key, relay, other)
    else:
        users[relay] = place[-1]


def check_running(values: Values, place: Place, parts: Devices, findings: Findings) -> None:
    """Check an extractor's longest run, quiet hours and tachometer."""
    longest, least = values.get("longest_run"), values.get("minimum_on") or 0
    if longest is not None and longest <= least:
        allowed = f"more than minimum_on, {format_duration(least)}, is needed"
        findings.refuse((*place, "longest_run"), format_duration(longest), allowed)
    if longest is None and values.get("after_longest_run") == "rest":
        key = (*place, "after_longest_run")
        findings.add(key, 'is "rest"', "longest_run is needed with it: without it it never rests")
    if values.get("quiet_hours") is not None:
        try:
            parse_quiet(values["quiet_hours"])
        except ValueError as error:
            findings.refuse((*place, "quiet_hours"), values["quiet_hours"], str(error))
    turns, where = values.get("turns"), (*place, "turns")
    if turns is not None and _quantity(turns, where, parts, findings) not in ("fan_speed", None):
        findings.refuse(where, turns, "the fan_speed of a tachometer, PART.fan_speed, is needed")


def check_extracting(alarms: Values, extractors: Values, findings: Findings) -> None:
    """Check that something runs the extractors: else they never would, not even when blind."""
    if not extractors or any(alarm is None or alarm.extract for alarm in alarms.values()):
        return
    allowed = "at least one alarm with extract = true is needed to decide when an extractor runs"
    findings.add(("extractors",), "has nothing that runs it", allowed)


def check_alarm(values: Values, place: Place, parts: Devices, findings: Findings) -> None:
    """Check the channel of an alarm, its numbers and its limit."""
    channel = values.get("channel")
    quantity = _quantity(channel, (*place, "channel"), parts, findings) if channel else None
    own = {"departure": " in %", "emission": " in µg/h"}.get(str(values.get("compare")))
    unit = own if own else f" in {QUANTITIES[quantity].unit}" if quantity else ""
    if values.get("compare") != "silence":
        _check_numbers(values, place, quantity, unit, findings)
    if values.get("ahead") and values.get("compare", "rise") not in ("mean", "rise"):
        findings.add((*place, "ahead"), "is of no use", 'only "mean" and "rise" can look ahead')
    if values.get("settled") and values.get("compare", "rise") != "rise":
        findings.add(
            (*place, "settled"), "is of no use", 'only "rise" can settle above its deadband'
        )
    if values.get("share") and values.get("compare", "rise") != "rise":
        findings.add((*place, "share"), "is of no use", 'only "rise" knows a share of the baseline')
    if values.get("limit") is not None:
        _check_limit(values["limit"], (*place, "limit"), quantity, findings)
    if quantity:
        _check_raw(values, place, QUANTITIES[quantity], findings)


def _check_raw(values: Values, place: Place, quantity: Quantity, findings: Findings) -> None:
    """Check that a raw signal is compared with clean air only, and that nothing else is."""
    compare, key = values.get("compare", "rise"), (*place, "compare")
    if quantity.raw and compare not in ("departure", "silence"):
        hint = f"{quantity.name} is a raw signal, and no concentration"
        findings.refuse(key, compare, '"departure" or "silence" is needed', hint)
    elif compare == "emission" and (quantity.unit != "µg/m³" or quantity.falls):
        findings.refuse(key, compare, "that is for quantities in µg/m³ only", quantity.name)
    elif compare == "departure" and not quantity.raw:
        raw = listed(one.name for one in QUANTITIES.values() if one.raw)
        findings.refuse(key, compare, f"that is for raw signals only: {raw}")
    elif compare == "departure" and quantity.falls and values.get("setpoint", 0) >= 100:
        allowed = "below 100 is needed: dirty air makes this signal smaller, by 100 % at most"
        findings.refuse((*place, "setpoint"), values["setpoint"], allowed)


def check_quiet(phone: Any, findings: Findings) -> None:
    """Check that quiet hours are two times of day."""
    if phone is None or phone.quiet is None:
        return
    try:
        parse_quiet(phone.quiet)
    except ValueError as error:
        findings.refuse(("phone", "quiet"), phone.quiet, str(error))


def check_hours(hours: Iterable[str], place: Place, findings: Findings) -> None:
    """Check that hours of the week are written as such."""
    for text in hours:
        try:
            parse_hours(text)
        except ValueError as error:
            findings.refuse(place, text, str(error))


def check_report(report: Any, parts: Devices, findings: Findings) -> None:
    """Check the channel that reports are about, and the time of the digest."""
    if report is None:
        return
    if report.channel is not None:
        _quantity(report.channel, ("report", "channel"), parts, findings)
    try:
        parse_time(report.digest_at)
    except ValueError as error:
        findings.refuse(("report", "digest_at"), report.digest_at, str(error))


def check_same_air(
    values: Values, place: Place, parts: Devices, users: dict[str, str], findings: Findings
) -> None:
    """Check that a pair has two channels of one quantity, of two parts, in no other pair."""
    channels, key = values.get("channels"), (*place, "channels")
    if channels is None:
        return
    if len({channel.partition(".")[0] for channel in channels}) != 2 or len(channels) != 2:
        findings.refuse(key, list(channels), "two channels, of two parts, are needed")
        return
    first, second = (_quantity(channel, key, parts, findings) for channel in channels)
    if first and second and first != second:
        findings.refuse(key, list(channels), "two channels of the same quantity are needed")
    elif first and QUANTITIES[first].raw:
        why = "raw signals of two elements are never alike"
        findings.refuse(key, list(channels), "channels of a concentration are needed", why)
    for channel in channels:
        if other := users.get(channel):
            hint = f"same_air.{other} has {channel}"
            findings.refuse(key, list(channels), "channels of no other pair are needed", hint)
        users[channel] = place[-1]


def _quantity(channel: str, place: Place, parts: Devices, findings: Findings) -> str | None:
    """Give the quantity of a channel that exists, else remember that it does not."""
    part, _, quantity = channel.partition(".")
    if part in parts and not parts[part].driver:  # its own mistake has been told
        if quantity in QUANTITIES:
            return quantity
        findings.refuse(place, channel, "PART.QUANTITY is needed", nearest(quantity, QUANTITIES))
        return None
    if part in parts and quantity in parts[part].quantities:
        return quantity
    known = [f"{name}.{q}" for name, device in parts.items() for q in device.quantities]
    near = [name for name in known if name.startswith(f"{part}.")] or known
    findings.refuse(place, channel, f"channels here: {listed(near)}", nearest(channel, known))
    return None


def check_humidity(parts: Devices, findings: Findings) -> None:
    """Check which humidity channel each part names, and that it can make use of one."""
    for name, device in parts.items():
        channel, place = device.head.get("humidity"), ("parts", name, "humidity")
        if channel is not None:
            _check_humidity(channel, place, device, parts, findings)
        elif device.head.get("humidity_correction"):
            allowed = 'humidity = "PART.humidity" is needed with it'
            findings.refuse(("parts", name, "humidity_correction"), True, allowed)


def _check_humidity(
    channel: str, place: Place, device: Device, parts: Devices, findings: Findings
) -> None:
    if device.driver and not device.driver.optical_mass:
        findings.add(place, "is of no use", "only optical particle parts can have it")
    elif _quantity(channel, place, parts, findings) not in ("humidity", None):
        there = [name for name, one in parts.items() if "humidity" in one.quantities]
        allowed = f"humidity channels here: {listed(f'{name}.humidity' for name in there)}"
        findings.refuse(place, channel, allowed)


def _check_numbers(
    values: Values, place: Place, quantity: str | None, unit: str, findings: Findings
) -> None:
    setpoint, deadband = values.get("setpoint"), values.get("deadband")
    if setpoint is None:
        return
    below = quantity is not None and QUANTITIES[quantity].lowest < 0
    if (
        quantity
        and values.get("compare") not in ("departure", "emission")
        and setpoint > QUANTITIES[quantity].highest
    ):
        most = f"{QUANTITIES[quantity].highest:g}"
        findings.refuse(
            (*place, "setpoint"),
            setpoint,
            f"a number up to {most}{unit}, the most that can be true, is needed",
        )
    elif setpoint <= 0 and not (below and values.get("compare") == "mean"):
        findings.refuse((*place, "setpoint"), setpoint, f"a number above 0{unit} is needed")
    elif deadband is not None and deadband >= abs(setpoint):
        allowed = f"a number below the setpoint ({show(setpoint)}){unit} is needed"
        hint = "else the alarm could never clear; a fifth to a third of the setpoint is usual"
        findings.refuse((*place, "deadband"), deadband, allowed, hint)


def _check_limit(key: str, place: Place, quantity: str | None, findings: Findings) -> None:
    if quantity is None:  # the channel's own mistake has been told
        if key not in limits():
            allowed = "a limit of config/limits.toml for the channel's quantity is needed"
            findings.refuse(place, key, allowed, nearest(key, limits()))
        return
    if QUANTITIES[quantity].inferred:
        allowed = f"no limit applies to {quantity}: it is inferred, and no CO2 measurement"
        findings.refuse(place, key, allowed)
        return
    fitting = [limit.key for limit in limits().values() if limit.quantity == quantity]
    if key not in fitting:
        allowed = f"limits for {quantity} are {listed(fitting)}"
        findings.refuse(place, key, allowed, nearest(key, fitting))
