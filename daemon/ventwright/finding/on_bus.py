"""Says what answers on an I2C bus where a configured part or relay is mute.

Knows what was found on the bus and what is configured there; sends nothing that `find` would not.
"""

from typing import get_args, get_type_hints

from ventwright.finding.asked import Asked, Spots, either, unlike
from ventwright.finding.found import Found
from ventwright.finding.i2c_look import look_at_address, look_at_bus


def on_bus(asked: Asked, configured: Spots) -> str:
    """Say what is at its address, or where it may be; "" if nothing can be said."""
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
        return unlike(asked, found.place, found.models)
    return (
        f"{found.place} has a {either(found.models)}, but does not do what a {asked.model} is "
        f"told: if it is a {either(others)}, write that as model under [{asked.table}]"
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
            kind = f"is a {either(one.models)}" if one.models else "is something that may be it"
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
    what = f"a {either(one.models)}" if one.models else "something unknown"
    return f"0x{one.options['address']:02X} is {what}"
