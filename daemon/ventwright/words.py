"""Says what an event of the store was, and why, in one line: the same words wherever it is told."""

from typing import Any

from ventwright.settings.durations import format_duration
from ventwright.storage.reader import StoredEvent


def reason(event: StoredEvent) -> str:
    """Say why something happened, with numbers and units."""
    body = event.body
    if event.kind != "alarm":
        return str(body.get("why") or "")
    if body.get("value") is None:
        return ""
    over, unit = format_duration(body["over"]), body["unit"]
    said = f"{body['compare']} of {body['value']:.1f} {unit} over {over}"
    if body["change"] == "cleared":
        return f"{said}, {below(body)}; its peak was {body['peak']:.1f} {unit}"
    return f"{said}{expecting(body)}, setpoint {body['setpoint']:g} {unit}"


def below(body: dict[str, Any]) -> str:
    """Say below what a cleared alarm is: its setpoint minus deadband, or its setpoint for long."""
    clear, settled = body["setpoint"] - body["deadband"], body.get("settled", 0)
    if settled and body["value"] >= clear:
        lasted = format_duration(settled)
        return f"below {body['setpoint']:.3g} {body['unit']} for {lasted} with no source left"
    return f"below {clear:.3g} {body['unit']}"


def expecting(body: dict[str, Any]) -> str:
    """Say what an alarm that looks ahead expects, where that is what the setpoint was for."""
    expected = body.get("expected")
    if expected is None or round(expected, 1) <= round(body["value"], 1):
        return ""
    return f", heading for {expected:.1f} {body['unit']}"


def change(event: StoredEvent) -> str:
    """Say what changed."""
    body = event.body
    if event.kind == "extractor":
        return f"{body['from']} to {body['to']}"
    if event.kind == "mark":
        return str(body["phase"])
    if event.kind == "commissioned":
        return f"clears by {body['clearance']:.2f} /h with it, {body['natural']:.2f} /h without"
    return str(body.get("change", ""))


def decision(event: StoredEvent) -> str:
    """Say a decision and its reason."""
    what = event.kind if event.kind == event.subject else f"{event.kind} {event.subject}:"
    why = reason(event)
    return f"{what} {change(event)}" + (f" - {why}" if why else "")
