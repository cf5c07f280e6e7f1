"""The wiring of a real machine: pyserial, smbus2, gpiod and the monotonic clock."""

from ventwright_drivers.clock import SystemClock
from ventwright_drivers.i2c.link import open_smbus
from ventwright_drivers.part import Wiring
from ventwright_drivers.relay.gpio import request_lines
from ventwright_drivers.serial.link import open_serial


def machine_wiring(clock: SystemClock) -> Wiring:
    """Wire drivers to this machine."""
    return Wiring(clock, open_serial, open_smbus, request_lines)
