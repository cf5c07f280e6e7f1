"""Says what is there where a configured part or relay is not, and what to write instead.

Knows a device's model and place; knows no configuration file, and sends nothing that `find`
would not send.
"""

import errno
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, get_args, get_type_hints

from ventwright.finding.found import Found, Models, in_use, refused
from ventwright.finding.i2c_look import look_at_address, look_at_bus
from ventwright.finding.serial_look import listened, look_at_port
from ventwright.finding.streams import heard
from ventwright_drivers.errors import DeviceLost, DriverError
from ventwright_drivers.part import SerialPort, Wiring

_KEPT = 4096
Spots = Collection[tuple[int, int]]
"""Bus and address of every configured device."""


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


@dataclass(frozen=True)
class Asked:
    """A configured part or relay, and a wiring to look through while it is closed."""

    table: str
    """Its table in the configuration, such as `parts.bench`."""

    model: str
    options: Any
    wiring: Wiring

    @property
    def port(self) -> str:
        """The serial port, "" for what has none."""
        return getattr(self.options, "port", "")

    @property
    def spot(self) -> tuple[int, int] | None:
        """Bus and address, None for what is not on I2C."""
        return spot_of(self.options)


def spot_of(options: Any) -> tuple[int, int] | None:
    """Give bus and address of what is on I2C, None for anything else."""
    spot = getattr(options, "bus", None), getattr(options, "address", None)
    return None if None in spot else spot  # type: ignore[return-value]


def taken(asked: Asked) -> str:
    """Say who else has the port open, "" if nobody is seen."""
    user = in_use(asked.port) if asked.port else ""
    return f"{asked.port} {user}" if user else ""


def other(asked: Asked, said: bytes) -> str:
    """Say that what gives readings is another model, "" if nothing speaks for that."""
    if asked.port:
        return _unlike(asked, asked.port, heard(said))
    found = look_at_address(*asked.spot, asked.wiring) if asked.spot else None
    return _unlike(asked, found.place, found.models) if found else ""


def unheard(asked: Asked) -> str:
    """Say what speaks on the port of a relay board that never answers, "" if nothing does."""
    with suppress(DeviceLost):  # the board itself then says so
        return _unlike(asked, asked.port, listened(asked.port, asked.wiring)) if asked.port else ""
    return ""


def explained(asked: Asked, error: DriverError, said: bytes, configured: Spots) -> str:
    """Say in one sentence why a part or relay failed, and what is there in its place."""
    if isinstance(error, DeviceLost):
        return _barred(asked, error) or str(error)
    try:
        there = _on_port(asked, said) if asked.port else _on_bus(asked, configured)
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


def _unlike(asked: Asked, place: str, models: Models) -> str:
    if not models or asked.model in models:
        return ""
    told = f"{place} has a {_either(models)}, not the {asked.model} of [{asked.table}]"
    if _is_relay(models[0]) != _is_relay(asked.model):
        return f"{told}: have two ports been exchanged?"
    if len(models) == 1:
        return f'{told}: write model = "{models[0]}" there'
    return f"{told}: write as model there what is printed on it"


def _is_relay(model: str) -> bool:
    return model.startswith("relay-")


def _either(models: Models) -> str:
    *others, last = models
    return f"{', '.join(others)} or {last}" if others else last


def _on_port(asked: Asked, said: bytes) -> str:
    if wrong := _unlike(asked, asked.port, heard(said)):
        return wrong
    found = look_at_port(asked.port, asked.wiring, lambda _: None)
    return _unlike(asked, found.place, found.models) or _plain(found)


def _plain(found: Found) -> str:
    return "" if found.models else f"{found.place} {found.says}"


def _on_bus(asked: Asked, configured: Spots) -> str:
    if asked.spot is None:
        return ""
    here = look_at_address(*asked.spot, asked.wiring)
    if here is None:  # perhaps busy with an order that it took for one of its own
        found = look_at_bus(asked.spot[0], asked.wiring, lambda _: None)
        here = next((one for one in found if _place(one) == asked.spot), None)
    return _answering(asked, here) if here else _elsewhere(asked, found, configured)


def _place(one: Found) -> tuple[int, int] | None:
    """Give bus and address of what was found, None for a bus that failed."""
    bus, address = one.options.get("bus"), one.options.get("address")
    return (bus, address) if isinstance(bus, int) and isinstance(address, int) else None


def _answering(asked: Asked, found: Found) -> str:
    """Say what is at the device's own address."""
    others = tuple(model for model in found.models if model != asked.model)
    if not found.models:
        return "" if _may_be(asked, found) else f"{found.place} {found.says}"
    if len(others) == len(found.models) or not others:
        return _unlike(asked, found.place, found.models)
    return (
        f"{found.place} has a {_either(found.models)}, but does not do what a {asked.model} is "
        f"told: if it is a {_either(others)}, write that as model under [{asked.table}]"
    )


def _elsewhere(asked: Asked, found: list[Found], configured: Spots) -> str:
    """Say what answers at other addresses of the bus, where the device's own is mute."""
    bus, address = asked.spot or (0, 0)
    mute = f"nothing answers at address 0x{address:02X} of bus {bus}"
    answering = [one for one in found if _place(one)]
    free = [one for one in answering if _place(one) not in configured]
    for one in free:
        if _fits(asked, one):
            there = f"0x{one.options['address']:02X}"
            kind = f"is a {_either(one.models)}" if one.models else "is something that may be it"
            return f"{mute}, but at {there} {kind}: write address = {there} under [{asked.table}]"
    if free:
        told = "; ".join(_short(one) for one in free)
        return f"{mute}; what does answer there and is not configured: {told}"
    if answering:
        return f"{mute}, though other parts of that bus answer: look at this one's plug and power"
    trouble = next((f"{one.place} {one.says}" for one in found if one.trouble), "")
    return trouble or f"{mute}, nor anything else: look at its power, SDA and SCL"


def _fits(asked: Asked, one: Found) -> bool:
    """Tell whether something found can be the part, and the part can be told so."""
    allowed = get_args(get_type_hints(type(asked.options)).get("address"))
    known = asked.model in one.models or _may_be(asked, one)
    return known and (not allowed or one.options["address"] in allowed)


def _may_be(asked: Asked, one: Found) -> bool:
    """Tell whether a chip that is never written to can be the device."""
    return not one.models and asked.model.removeprefix("relay-") in one.says


def _short(one: Found) -> str:
    what = f"a {_either(one.models)}" if one.models else "something unknown"
    return f"0x{one.options['address']:02X} is {what}"
