"""What an alarm's table leaves out, or says by the name of a limit, put into numbers."""

from collections.abc import Mapping
from typing import Any

from ventwright.settings.durations import format_duration, parse_duration
from ventwright.settings.findings import Findings, Place, listed, nearest
from ventwright.settings.limits import Limit, limits
from ventwright.settings.model import MINUTE
from ventwright.settings.rules import BOUNDS
from ventwright_drivers.quantities import QUANTITIES

Table = Mapping[str, Any]

_SILENT: dict[str, Any] = {"over": "10 min", "on_delay": "0 s", "extract": False}
_UNLIMITED = {
    "rise": ("a rise", "{unit}"),
    "rate": ("a rate", "{unit} per minute"),
    "emission": ("an emission", "µg/h"),
    "departure": ("a departure", "percent"),
}
"""What no published limit can be compared with, and in what it is told: limits are of means."""

_UNUSED = ("setpoint", "deadband", "coverage", "limit")


def complete_alarm(table: Table, place: Place, findings: Findings) -> dict[str, Any]:
    """Give the table with its setpoint as a number, and the defaults of its comparison."""
    if table.get("compare") == "silence":
        return _silence(table, place, findings)
    setpoint = table.get("setpoint")
    if not isinstance(setpoint, str) or _is_number(setpoint, place, findings):
        return dict(table)
    return {**table, **_limited(table, setpoint, place, findings)}


def _is_number(text: str, place: Place, findings: Findings) -> bool:
    """Tell whether a text is a number that the environment gives."""
    try:
        float(text)
    except ValueError:
        return text in ("true", "false") or not text
    return (*place, "setpoint") in findings.variables


def _silence(table: Table, place: Place, findings: Findings) -> dict[str, Any]:
    for key in _UNUSED:
        if key in table:
            allowed = 'an alarm with compare = "silence" does without it: `over` is its setpoint'
            findings.add((*place, key), "has no meaning here", allowed)
    kept = {key: value for key, value in table.items() if key not in _UNUSED}
    whole = {**_SILENT, **kept}
    try:
        minutes = parse_duration(whole["over"]) / MINUTE
    except ValueError:
        minutes = 1.0  # its own mistake is told where it is checked
    return {**whole, "setpoint": minutes, "deadband": 0}


def _limited(table: Table, key: str, place: Place, findings: Findings) -> dict[str, Any]:
    """Give what a setpoint that names a limit stands for; on a mistake a number that passes."""
    where = (*place, "setpoint")
    quantity = str(table.get("channel")).partition(".")[2]
    if quantity not in QUANTITIES:
        return {"setpoint": 1e-9, "deadband": 0}  # the channel's own mistake is told
    limit = limits().get(key)
    compare = str(table.get("compare", "mean"))
    if limit is None or limit.quantity != quantity or compare in _UNLIMITED:
        findings.refuse(where, key, *_needed(key, quantity, compare))
        return {"setpoint": 1e-9, "deadband": 0}
    if "over" not in table and limit.averaging_ms > BOUNDS["alarms.over"][1]:
        longest = format_duration(BOUNDS["alarms.over"][1])
        allowed = f"an `over` of its own, or a limit for at most {longest}, is needed"
        findings.refuse(where, key, allowed, f"this one is for {limit.averaging}")
    return _from_limit(limit, QUANTITIES[quantity].unit, where, findings) | {
        name: table[name] for name in ("over", "compare", "limit") if name in table
    }


def _needed(key: str, quantity: str, compare: str) -> tuple[str, str]:
    unit = QUANTITIES[quantity].unit
    if compare in _UNLIMITED:
        what, of = _UNLIMITED[compare]
        allowed = f"a number in {of.format(unit=unit)} is needed"
        return allowed, f'no limit is for {what}; for one, compare "mean" or "forecast"'
    fitting = [limit.key for limit in limits().values() if limit.quantity == quantity]
    names = f", or the name of a limit: {listed(fitting)}," if fitting else ""
    return f"a number in {unit}{names} is needed", nearest(key, fitting)


def _from_limit(limit: Limit, unit: str, where: Place, findings: Findings) -> dict[str, Any]:
    try:
        value = limit.in_unit(unit)
    except ValueError:
        allowed = f"a number in {unit} is needed"
        findings.refuse(where, limit.key, allowed, f"there is no way from {limit.unit} to {unit}")
        value = 1e-9
    found = {"setpoint": value, "compare": "mean", "limit": limit.key}
    averaging = limit.averaging_ms
    return found | ({"over": limit.averaging} if 0 < averaging <= BOUNDS["alarms.over"][1] else {})
