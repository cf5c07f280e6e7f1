"""Asks every configured part for live readings and every relay for its state, one at a time."""

from collections.abc import Iterator
from typing import Any

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
    """Take three samples at the part's own pace; raises DriverError, which says how many came."""
    taken: list[Sample] = []
    try:
        while len(taken) < READINGS:
            if taken and not part.paced_by_part:
                part.clock.sleep_until(part.clock.now() + part.period_ms)
            taken.append(_sample(part))
    except DriverError as error:
        came = f"{len(taken)} of {READINGS} readings came, then: " if taken else ""
        raise DriverError(f"{came}{error}") from error
    return taken


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


def _check_part(name: str, entry: PartEntry, wiring: Wiring) -> Finding:
    finding: Finding = {"part": name, "model": entry.model}
    part = build_part(entry, wiring)
    finding["place"] = part.place
    if part.optical_mass:
        finding["laser life (h)"] = part.laser_hours
        finding["rests for (s)"] = part.rest_ms // 1000
    try:
        with part:
            since = part.clock.now()
            samples = _samples(part)
    except DriverError as error:
        return {**finding, "well": False, "says": str(error)}
    fault = next((sample.fault for sample in samples if sample.fault), "")
    told = {"well": not fault, "says": fault or "it answers"}
    return {**finding, **told, "readings": _readings(part, samples, since)}


def _check_relay(name: str, entry: RelayEntry, wiring: Wiring, switch: bool) -> Finding:
    finding: Finding = {"relay": name, "model": entry.model}
    try:
        with build_relay(entry, wiring) as relay:
            state = relay.state()
            if switch:
                return _clicked(finding, *_click(relay))
    except DriverError as error:
        return {**finding, "well": False, "says": str(error)}
    says = {None: "the port opens; this board cannot tell its state", True: "it is on"}
    return {**finding, "well": True, "says": says.get(state, "it is off"), "state": state}


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


def _clicked(finding: Finding, on: bool | None, off: bool | None) -> Finding:
    if on is None or off is None:
        return {**finding, "well": True, "says": "commanded on and off; this board cannot confirm"}
    well = on and not off
    says = "switched on and off, and read back so" if well else "it does NOT follow its commands"
    return {**finding, "well": well, "says": says}


def findings(settings: Settings, wiring: Wiring, switch: bool) -> Iterator[Finding]:
    """Go through every part and relay; one finding each, as soon as it is known."""
    for name, part in settings.parts.items():
        yield _check_part(name, part, wiring)
    for name, relay in settings.relays.items():
        yield _check_relay(name, relay, wiring, switch)
