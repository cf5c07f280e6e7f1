"""SHT30, SHT31, SHT35, SHT40, SHT41, SHT45: temperature and humidity, one shot a sample.

The two generations share frame and address but not the humidity formula: an SHT4x read as an
SHT3x shows 44.8 % for 50 %, which no range check notices. Source: protocols.md sections 12, 13.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

from ventwright_drivers.i2c.link import I2COptions, I2CPart
from ventwright_drivers.i2c.words import celsius, unpack
from ventwright_drivers.part import Sample


class Variant(NamedTuple):
    """What differs between the generations: commands, times in ms, humidity = low + span·S."""

    calm: tuple[bytes, ...]
    calm_ms: int
    measure: bytes
    measure_ms: int
    low: float
    span: float


SHT3X = Variant((b"\x30\x93", b"\x30\xa2"), 2, b"\x24\x00", 16, 0, 100)
SHT4X = Variant((b"\x94",), 1, b"\xfd", 10, -6, 125)


def decode(reply: bytes, address: int, variant: Variant) -> Sample:
    """Read temperature, −45 to 130 °C, and humidity, 0 to 100 %RH; raises NoAnswer on a bad CRC."""
    temperature, humidity = unpack(reply, address)
    percent = variant.low + variant.span * humidity / 65535
    return Sample((celsius(temperature), min(100.0, max(0.0, percent))))


@dataclass(frozen=True)
class Sht3xOptions(I2COptions):
    """Where an SHT3x is."""

    address: Literal[0x44, 0x45] = 0x44
    """0x44, or 0x45 with the ADDR pin high."""


@dataclass(frozen=True)
class Sht4xOptions(I2COptions):
    """Where an SHT4x is."""

    address: Literal[0x44, 0x45, 0x46] = 0x44
    """0x44, 0x45 or 0x46, fixed by the order code."""


class _Sht(I2CPart):
    quantities = ("temperature", "humidity")
    period_ms = 2000  # at most one a second, or the part warms itself (from memory)
    variant: Variant

    def prepare(self) -> None:
        """End what an earlier program left running: periodic mode, heater."""
        for order in self.variant.calm:
            self.link.write(order)
            self.pause(self.variant.calm_ms)

    def measure(self) -> Sample:
        """Measure once; raises NoAnswer, DeviceLost."""
        reply = self.ask(self.variant.measure, 6, self.variant.measure_ms)
        return decode(reply, self.options.address, self.variant)


class _Sht3x(_Sht):
    Options = Sht3xOptions
    variant = SHT3X


class _Sht4x(_Sht):
    Options = Sht4xOptions
    variant = SHT4X


class Sht30(_Sht3x):
    """SHT30: −40 to 125 °C, ±0.2 °C, ±3 %RH (from memory)."""

    model = "sht30"


class Sht31(_Sht3x):
    """SHT31: −40 to 125 °C, ±0.2 °C, ±2 %RH (from memory)."""

    model = "sht31"


class Sht35(_Sht3x):
    """SHT35: −40 to 125 °C, ±0.1 °C, ±1.5 %RH (from memory)."""

    model = "sht35"


class Sht40(_Sht4x):
    """SHT40: −40 to 125 °C, ±0.2 °C, ±1.8 %RH (accuracies from memory)."""

    model = "sht40"


class Sht41(_Sht4x):
    """SHT41: −40 to 125 °C, ±0.2 °C, ±1.8 %RH (accuracies from memory)."""

    model = "sht41"


class Sht45(_Sht4x):
    """SHT45: −40 to 125 °C, ±0.1 °C, ±1.0 %RH."""

    model = "sht45"
