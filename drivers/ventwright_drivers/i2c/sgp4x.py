"""SGP40 and SGP41: raw VOC and NOx signals, in ticks. They are not concentrations.

The VOC signal falls as reducing gases rise, the NOx signal rises with oxidising ones (from
memory). Compensation is for constant 50 %RH and 25 °C. Source: protocols.md section 15.
"""

from dataclasses import dataclass
from typing import Literal

from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.i2c.word_part import WordPart
from ventwright_drivers.part import Sample

_MEASURE_40, _CONDITION, _MEASURE_41, _HEATER_OFF = 0x260F, 0x2612, 0x2619, 0x3615
_CLIMATE = (0x8000, 0x6666)  # 50 %RH, 25 °C
_SGP40_MS, _SGP41_MS = 30, 50
_CONDITIONINGS = 10  # one a second; more than 10 s in all can harm the NOx element


@dataclass(frozen=True)
class Sgp4xOptions(I2COptions):
    """Where an SGP4x is."""

    address: Literal[0x59] = 0x59
    """Fixed."""


class _Sgp(WordPart):
    Options = Sgp4xOptions
    warm_up_ms = 60_000  # from memory

    def prepare(self) -> None:
        """Switch the heater off, so that every start begins alike; raises NoAnswer, DeviceLost."""
        self.order(_HEATER_OFF)


class Sgp40(_Sgp):
    """SGP40: raw VOC signal, 0 to 65535 ticks, once a second."""

    model = "sgp40"
    quantities = ("voc_raw",)

    def measure(self) -> Sample:
        """Measure once; raises NoAnswer, DeviceLost."""
        return Sample(self.words(_MEASURE_40, 1, *_CLIMATE, wait_ms=_SGP40_MS))


class Sgp41(_Sgp):
    """SGP41: raw VOC and NOx signals, 0 to 65535 ticks, once a second; NOx after conditioning."""

    model = "sgp41"
    quantities = ("voc_raw", "nox_raw")
    _left = _CONDITIONINGS

    def measure(self) -> Sample:
        """Condition, ten times in this object's life and never more, then measure."""
        if self._left:
            self._left -= 1
            (voc,) = self.words(_CONDITION, 1, *_CLIMATE, wait_ms=_SGP41_MS)
            return Sample((voc, None))
        return Sample(self.words(_MEASURE_41, 2, *_CLIMATE, wait_ms=_SGP41_MS))
