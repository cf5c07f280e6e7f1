"""Lists the serial ports, by the path that stays the same, and the I2C buses of this machine."""

import os
import re
from pathlib import Path

_PORTS = ("serial/by-path/*", "serial/by-id/*", "serial0", "ttyUSB*", "ttyACM*", "ttyAMA*")
"""In the order of how well a name survives replugging."""

_TAKEN = "serial1"  # on boards that have it: the radio's port, never a part's


def serial_ports(dev: Path = Path("/dev")) -> list[str]:
    """List ports, each once and by its most stable name; a mainboard's own ttyS are left out."""
    seen = {os.path.realpath(dev / _TAKEN)}
    found = []
    for pattern in _PORTS:
        for path in sorted(dev.glob(pattern)):
            real = os.path.realpath(path)
            if real not in seen:
                seen.add(real)
                found.append(str(path))
    return found


def i2c_buses(dev: Path = Path("/dev")) -> list[int]:
    """List the numbers of the I2C buses, ascending."""
    names = (re.fullmatch(r"i2c-(\d+)", path.name) for path in dev.glob("i2c-*"))
    return sorted(int(match[1]) for match in names if match)
