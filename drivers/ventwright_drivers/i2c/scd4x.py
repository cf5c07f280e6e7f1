"""SCD40 and SCD41: CO2, with temperature and humidity, every 5 s by the part's own clock.

While it measures, the part refuses all but four commands; so every start first stops what an
earlier program left running. Source: protocols.md section 14, times and codes confirmed there.
"""

import contextlib
from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Interval

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.i2c.word_part import WordPart
from ventwright_drivers.i2c.words import celsius
from ventwright_drivers.part import Sample

_WAKE, _STOP, _START, _READY, _READ = 0x36F6, 0x3F86, 0x21B1, 0xE4B8, 0xEC05
_SET_SELF_CALIBRATION, _SET_ALTITUDE, _SET_PRESSURE = 0x2416, 0x2427, 0xE000
_STOP_MS, _WAKE_MS = 500, 30
_READY_BITS = 0x07FF


def decode(words: tuple[int, ...]) -> Sample:
    """Read CO2, 1 to 65535 ppm, temperature in °C, humidity, 0 to 100 %RH, from three words.

    0 ppm is what the part says before it knows (from memory): no value.
    """
    co2, temperature, humidity = words
    return Sample((co2 or None, celsius(temperature), 100 * humidity / 65535))


@dataclass(frozen=True)
class Scd4xOptions(I2COptions):
    """Where an SCD4x is, and what air it expects."""

    address: Literal[0x62] = 0x62
    """Fixed."""

    self_calibration: bool = False
    """Let the part take its lowest readings for fresh air (400 ppm). It assumes at least four
    hours of fresh air about weekly: leave it off in rooms that never air out."""

    altitude: Annotated[int, Interval(ge=0, le=3000)] | None = None
    """Height above the sea, m, by which the part corrects for thin air; range from memory."""

    pressure: Annotated[int, Interval(ge=700, le=1200)] | None = None
    """Mean air pressure of the place, hPa, in place of the altitude; range from memory."""


class Scd40(WordPart):
    """SCD40: 400 to 2000 ppm within ±(50 ppm + 5 %); ±0.8 °C, ±6 %RH (the latter from memory)."""

    model = "scd40"
    Options = Scd4xOptions
    quantities = ("co2", "temperature", "humidity")
    period_ms = 5000
    silence_ms = 20_000
    warm_up_ms = 10_000  # the first reading after a start is less accurate (from memory)

    def prepare(self) -> None:
        """Stop, set up and start measuring; takes about 0.5 s; raises NoAnswer, DeviceLost."""
        self.order(_STOP, wait_ms=_STOP_MS)
        self.order(_SET_SELF_CALIBRATION, int(self.options.self_calibration))
        for code, value in self._corrections():
            self.order(code, value)
        self.order(_START)

    def _corrections(self) -> list[tuple[int, int]]:
        """Pair commands with the values that are set; none is stored in the part's EEPROM."""
        wanted = {_SET_ALTITUDE: self.options.altitude, _SET_PRESSURE: self.options.pressure}
        return [(code, value) for code, value in wanted.items() if value is not None]

    def measure(self) -> Sample | None:
        """Take the newest sample, None if it was taken before; raises NoAnswer, DeviceLost."""
        (ready,) = self.words(_READY, 1)
        if not ready & _READY_BITS:
            return None
        return decode(self.words(_READ, 3))


class Scd41(Scd40):
    """SCD41: 400 to 5000 ppm within ±(40 ppm + 5 %) (older issue); ±0.8 °C, ±6 %RH (memory)."""

    model = "scd41"

    def prepare(self) -> None:
        """Wake the part if another program powered it down, then as the SCD40."""
        with contextlib.suppress(NoAnswer):  # it wakes without acknowledging
            self.order(_WAKE)
        self.pause(_WAKE_MS)
        super().prepare()
