"""SPS30 over its I2C interface (SEL pin to GND): particle mass and number, once a second.

Source: protocols.md sections 5 and 4; the latter for what the ten values mean.
"""

import contextlib
import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ventwright_drivers.cleaning import CleaningOptions
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.i2c.word_part import CleanedPart, named
from ventwright_drivers.part import Sample

_WAKE, _STOP, _START, _READY, _READ, _STATUS = 0x1103, 0x0104, 0x0010, 0x0202, 0x0300, 0xD206
_AS_FLOATS = 0x0300
_WAIT_MS = 20
FAULTS = {21: "fan speed out of range", 5: "laser failed", 4: "fan failed"}
"""What the bits of the status register mean."""


def floats(words: tuple[int, ...]) -> tuple[float, ...]:
    """Join words in pairs to IEEE 754 numbers, the high word first."""
    return struct.unpack(f">{len(words) // 2}f", struct.pack(f">{len(words)}H", *words))


def sample(values: Sequence[float], fault: str = "") -> Sample:
    """Order the part's ten values: mass in µg/m³, number in 1/cm³ above each size.

    The part counts from 0.3 µm up to each size; what is above a size is the rest of what is
    counted up to 10 µm. A value that is no number makes all None.
    """
    if not all(map(math.isfinite, values)):
        return Sample((None,) * 8, fault)
    mass, (to_0_5, to_1, to_2_5, _, to_10) = values[:4], values[4:9]
    above = (max(0.0, to_10 - part) for part in (0.0, to_0_5, to_1, to_2_5))
    return Sample((*mass, *above), fault)


@dataclass(frozen=True)
class Sps30Options(CleaningOptions, I2COptions):
    """Where an SPS30 is, and how often its fan is to be cleaned."""

    address: Literal[0x69] = 0x69
    """Fixed, and the SEN5x's too: the two cannot share a bus."""


class Sps30I2C(CleanedPart):
    """SPS30: 0 to 1000 µg/m³; PM2.5 ±10 µg/m³ up to 100, ±10 % above; PM4, PM10 extrapolated."""

    model = "sps30-i2c"
    Options = Sps30Options
    quantities = ("pm1", "pm2_5", "pm4", "pm10", "n0_3", "n0_5", "n1", "n2_5")
    silence_ms = 20_000  # the fan is cleaned for 10 s, without a new value
    warm_up_ms = 30_000  # in clean air (from memory)
    optical_mass = True
    laser_hours = 87_600  # over ten years on end

    def prepare(self) -> None:
        """Wake the part, stop what an earlier program started, and start measuring."""
        with contextlib.suppress(NoAnswer):  # an awake part need not know the command
            self.order(_WAKE, wait_ms=5)  # a sleeping one acknowledges only the second try
        with contextlib.suppress(NoAnswer):
            self.order(_STOP, wait_ms=_WAIT_MS)
        self.order(_START, _AS_FLOATS, wait_ms=_WAIT_MS)

    def sample(self) -> Sample | None:
        """Take the newest sample, None if it was taken before; raises NoAnswer, DeviceLost."""
        (ready,) = self.words(_READY, 1, wait_ms=_WAIT_MS)
        if not ready & 1:
            return None
        values = floats(self.words(_READ, 20, wait_ms=_WAIT_MS))
        return sample(values, self._fault())

    def _fault(self) -> str:
        with contextlib.suppress(NoAnswer):  # old firmware has no status
            return named(self.words(_STATUS, 2, wait_ms=_WAIT_MS), FAULTS)
        return ""
