"""PMSA003I: the laser particle counter of the serial family, read over I2C without a command.

A read of 32 bytes gives the frame that the serial parts send. Source: protocols.md section 2.
"""

from dataclasses import dataclass
from typing import Literal

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import I2COptions, I2CPart
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.pms import LIFE_HOURS, PLAIN, decode

_FRAME = 32


@dataclass(frozen=True)
class Pmsa003IOptions(I2COptions):
    """Where a PMSA003I is."""

    address: Literal[0x12] = 0x12
    """Fixed."""


class Pmsa003I(I2CPart):
    """Measures PM1, PM2.5, PM10 in µg/m³ (0 to 1000) and six number sizes in 1/cm³."""

    model = "pmsa003i"
    Options = Pmsa003IOptions
    quantities = tuple(PLAIN.fields)
    period_ms = 2300  # what it holds changes no faster while the air is stable
    warm_up_ms = 30_000
    optical_mass = True
    laser_hours = LIFE_HOURS

    def measure(self) -> Sample:
        """Read the frame that the part holds; raises NoAnswer if it is damaged, DeviceLost."""
        frame = self.link.read(_FRAME)
        _, sample = decode(PLAIN, frame)
        if sample is None:
            raise NoAnswer(
                f"I2C address 0x{self.options.address:02X} sent garbage: {frame.hex(' ')}"
            )
        return sample
