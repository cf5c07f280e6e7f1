"""Says what is there where a configured part or relay is not, and what to write instead.

Knows a device's model and place; knows no configuration file, and sends nothing that `find`
would not send.
"""

import errno
from contextlib import suppress
from dataclasses import replace
from typing import Any

from ventwright.finding.asked import Asked, Spots, unlike
from ventwright.finding.found import Found, in_use, refused
from ventwright.finding.i2c_look import look_at_address
from ventwright.finding.on_bus import on_bus
from ventwright.finding.serial_look import listened, look_at_port
from ventwright.finding.streams import heard
from ventwright_drivers.errors import DeviceLost, DriverError
from ventwright_drivers.part import SerialPort, Wiring

_KEPT = 4096


class _Tap:
    """A port that remembers what came in."""

    def __init__(self, port: SerialPort, said: bytearray) -> None:
        self._port, self._said = port, said

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)

    def read(self, size: int) -> bytes:
        data = self._port.read(size)
        self._said += data
        del self._said[:-_KEPT]
        return data


def tapped(wiring: Wiring) -> tuple[Wiring, bytearray]:
    """Give a wiring for one device, and what will have come in over its port."""
    said = bytearray()
    return replace(wiring, open_port=lambda *place: _Tap(wiring.open_port(*place), said)), said


def taken(asked: Asked) -> str:
    """Say who else has the port open, "" if nobody is seen."""
    user = in_use(asked.port) if asked.port else ""
    return f"{asked.port} {user}" if user else ""


def other(asked: Asked, said: bytes) -> str:
    """Say that what gives readings is another model, "" if nothing speaks for that."""
    if asked.port:
        return unlike(asked, asked.port, heard(said))
    found = look_at_address(*asked.spot, asked.wiring) if asked.spot else None
    return unlike(asked, found.place, found.models) if found else ""


def unheard(asked: Asked) -> str:
    """Say what speaks on the port of a relay board that never answers, "" if nothing does."""
    with suppress(DeviceLost):  # the board itself then says so
        return unlike(asked, asked.port, listened(asked.port, asked.wiring)) if asked.port else ""
    return ""


def explained(asked: Asked, error: DriverError, said: bytes, configured: Spots) -> str:
    """Say in one sentence why a part or relay failed, and what is there in its place."""
    if isinstance(error, DeviceLost):
        return _barred(asked, error) or str(error)
    try:
        there = _on_port(asked, said) if asked.port else on_bus(asked, configured)
    except DeviceLost:
        return str(error)
    return there or str(error)


def _barred(asked: Asked, error: DeviceLost) -> str:
    """Name the group that may open a port or bus that this user may not."""
    cause = error.__cause__
    if not isinstance(cause, OSError) or cause.errno not in (errno.EACCES, errno.EPERM):
        return ""
    place = asked.port or (f"/dev/i2c-{asked.spot[0]}" if asked.spot else "")
    return f"{place} {refused(place, 'dialout' if asked.port else 'i2c', cause)}" if place else ""


def _on_port(asked: Asked, said: bytes) -> str:
    if wrong := unlike(asked, asked.port, heard(said)):
        return wrong
    found = look_at_port(asked.port, asked.wiring, lambda _: None)
    return unlike(asked, found.place, found.models) or _plain(found)


def _plain(found: Found) -> str:
    return "" if found.models else f"{found.place} {found.says}"
