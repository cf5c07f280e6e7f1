"""Asks every configured part for live readings and every relay for its state, one at a time."""

from collections.abc import Callable, Iterator
from typing import Any

from ventwright.finding.asked import Asked, Spots, spot_of
from ventwright.finding.instead import explained, other, taken, tapped, unheard
from ventwright.keeper.process import build_part, build_relay
from ventwright.settings.model import PartEntry, RelayEntry, Settings
from ventwright_drivers.errors import DriverError
from ventwright_drivers.part import Part, Relay, Sample, Wiring
from ventwright_drivers.quantities import QUANTITIES

Finding = dict[str, Any]

READINGS = 3
PATIENCE_MS = 20_000
CLICK_MS = 2000
_SECOND_MS = 1000


class Interrupted(DriverError):
    """Readings came, and then no more: the part is the right one."""


def _sample(part: Part) -> Sample:
    """Wait for a sample as long as the part may take; raises DriverError."""
    until = part.clock.now() + max(PATIENCE_MS, part.silence_ms)
    while True:
        sample = part.read()
        if sample is not None:
            return sample
        if part.clock.now() > until:
            raise DriverError(f"no sample came in {PATIENCE_MS // 1000} s")
        part.clock.sleep_until(part.clock.now() + min(500, part.period_ms))


def _samples(part: Part) -> list[Sample]:
    """Take three samples at the part's own pace; raises DriverError, which says if some came."""
    came: list[Sample] = []
    try:
        while len(came) < READINGS:
            if came and not part.paced_by_part:
                part.clock.sleep_until(part.clock.now() + part.period_ms)
            came.append(_sample(part))
    except DriverError as error:
        if not came:
            raise
        raise Interrupted(f"{len(came)} of {READINGS} readings came, then: {error}") from error
    return came


def _readings(part: Part, samples: list[Sample], since: int) -> dict[str, Finding]:
    """Tell of each quantity its values, and how long it still warms up if started at `since`."""
    spent = part.clock.now() - since
    return {
        name: {
            "values": [sample.values[place] for sample in samples],
            "unit": QUANTITIES[name].unit,
            "warm-up left (s)": -(-max(0, warm_up(part, name) - spent) // _SECOND_MS),
        }
        for place, name in enumerate(part.quantities)
    }


def warm_up(part: Part, quantity: str) -> int:
    """Tell how long a quantity is not to be trusted after a start, ms."""
    return max(part.warm_up_ms, part.settle_ms.get(quantity, 0))


def _check_part(name: str, entry: PartEntry, wiring: Wiring, spots: Spots) -> Finding:
    finding: Finding = {"part": name, "model": entry.model}
    wires, said = tapped(wiring)
    part = build_part(entry, wires)
    asked = Asked(f"parts.{name}", part.model, part.options, wiring, entry.driver)
    finding["place"] = part.place
    if part.optical_mass:
        finding["laser life (h)"] = part.laser_hours
        finding["rests for (s)"] = part.rest_ms // 1000
    if user := taken(asked):
        return {**finding, "well": False, "says": user}
    try:
        with part:
            since = part.clock.now()
            samples = _samples(part)
    except Interrupted as error:
        return {**finding, "well": False, "says": str(error)}
    except DriverError as error:
        return {**finding, "well": False, "says": explained(asked, error, bytes(said), spots)}
    fault = other(asked, bytes(said)) or next((one.fault for one in samples if one.fault), "")
    told = {"well": not fault, "says": fault or "it answers"}
    return {**finding, **told, "readings": _readings(part, samples, since)}


def _check_relay(
    name: str, entry: RelayEntry, wiring: Wiring, spots: Spots, switch: bool
) -> Finding:
    finding: Finding = {"relay": name, "model": entry.model}
    asked = Asked(f"relays.{name}", entry.model, entry.options, wiring, entry.driver)
    if user := taken(asked):
        return {**finding, "well": False, "says": user}
    try:
        return {**finding, **_tried(entry, asked, switch)}
    except DriverError as error:
        return {**finding, "well": False, "says": explained(asked, error, b"", spots)}


def _tried(entry: RelayEntry, asked: Asked, switch: bool) -> Finding:
    """Read a relay back, and switch it if that is wanted; raises DriverError."""
    with build_relay(entry, asked.wiring) as relay:
        state = relay.state()
    if state is None and (wrong := unheard(asked)):
        return {"well": False, "says": wrong}
    if switch:
        with build_relay(entry, asked.wiring) as relay:
            return _clicked(*_click(relay))
    says = {None: "the port opens; this board cannot tell its state", True: "it is on"}
    return {"well": True, "says": says.get(state, "it is off"), "state": state}


def _click(relay: Relay) -> tuple[bool | None, bool | None]:
    """Switch on and off; returns what was read back each time. Whatever fails, it ends off."""
    clock = relay.clock
    try:
        relay.switch(True)
        clock.sleep_until(clock.now() + CLICK_MS)
        on = relay.state()
    finally:
        relay.switch(False)
    clock.sleep_until(clock.now() + CLICK_MS)
    return on, relay.state()


def _clicked(on: bool | None, off: bool | None) -> Finding:
    if on is None or off is None:
        return {"well": True, "says": "commanded on and off; this board cannot confirm"}
    well = on and not off
    says = "switched on and off, and read back so" if well else "it does NOT follow its commands"
    return {"well": well, "says": says}


def _tell_nobody(_: str) -> None:
    pass


def findings(
    settings: Settings, wiring: Wiring, switch: bool, tell: Callable[[str], None] = _tell_nobody
) -> Iterator[Finding]:
    """Go through every part and relay; one finding each, as soon as it is known.

    `tell` hears what is being asked, before it answers or does not.
    """
    devices: list[PartEntry | RelayEntry] = [*settings.parts.values(), *settings.relays.values()]
    spots = frozenset(filter(None, (spot_of(device.options) for device in devices)))
    for name, part in settings.parts.items():
        tell(f"asking part {name} ({part.model}): up to half a minute")
        yield _check_part(name, part, wiring, spots)
    for name, relay in settings.relays.items():
        tell(f"asking relay {name} ({relay.model})")
        yield _check_relay(name, relay, wiring, spots, switch)
