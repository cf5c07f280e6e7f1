"""Goes through ports and buses one after the other."""

from collections.abc import Iterator
from typing import NamedTuple

from ventwright.finding.found import Found
from ventwright.finding.i2c_look import look_at_bus
from ventwright.finding.serial_look import Tell, look_at_port
from ventwright_drivers.part import Wiring


class Places(NamedTuple):
    """Where to look."""

    ports: tuple[str, ...] = ()
    buses: tuple[int, ...] = ()


def look(places: Places, wiring: Wiring, tell: Tell) -> Iterator[Found]:
    """Look at every place, serial ports first; gives what is found as soon as it is known."""
    for number, port in enumerate(places.ports, 1):
        yield look_at_port(port, wiring, _counted(tell, f"port {number} of {len(places.ports)}"))
    for number, bus in enumerate(places.buses, 1):
        yield from look_at_bus(bus, wiring, _counted(tell, f"bus {number} of {len(places.buses)}"))


def _counted(tell: Tell, which: str) -> Tell:
    return lambda text: tell(f"{which}: {text}")
