"""ENS160: TVOC in ppb, and a CO2 that is inferred from it: eco2 is no CO2 measurement.

The part says by itself how far its values can be trusted: warming up after each power-up (3 min
in the longer of two datasheet issues), a first start-up of 1 h, remembered only after 24 h on
end, or invalid. Registers are little endian and have no CRC. Source: protocols.md section 18.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Interval

from ventwright_drivers.errors import Refused
from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.i2c.register_part import RegisterPart
from ventwright_drivers.part import Sample

_ID, _MODE, _CLIMATE, _STATUS = 0x00, 0x10, 0x13, 0x20
_PART_ID = 0x0160
_IDLE, _STANDARD = 0x01, 0x02
_MODE_MS = 50  # tens of ms (from memory)
_RUNNING, _ERROR, _NEW = 0x80, 0x40, 0x02
_VALID, _WARMING_UP, _FIRST_START = range(3)
_TVOC, _ECO2 = (0, 65_000), (400, 65_000)
"""What the part can put out, ppb and ppm (from memory); anything else is a damaged transfer."""

FAULTS = {
    _VALID: "",
    _WARMING_UP: "",
    _FIRST_START: "first start-up: it gives values an hour after it was first switched on",
    3: "it says that its values are not valid",
}
"""What the part says of its values; warming up is the daemon's to show, by `warm_up_ms`."""


def encode_climate(temperature: float, humidity: float) -> bytes:
    """Write °C as K·64 and %RH as %·512, two bytes each, the low one first."""
    words = (round((temperature + 273.15) * 64), round(humidity * 512))
    return b"".join(word.to_bytes(2, "little") for word in words)


def _within(raw: bytes, limits: tuple[int, int]) -> int | None:
    value = int.from_bytes(raw, "little")
    return value if limits[0] <= value <= limits[1] else None


def decode(block: bytes) -> Sample:
    """Read TVOC, 0 to 65000 ppb, and eCO2, 400 to 65000 ppm, from six bytes at the status on.

    Only values that the part calls valid are given.
    """
    validity = block[0] >> 2 & 3
    fault = "it reports an error" if block[0] & _ERROR else FAULTS[validity]
    if fault or validity != _VALID:
        return Sample((None, None), fault)
    return Sample((_within(block[2:4], _TVOC), _within(block[4:6], _ECO2)))


@dataclass(frozen=True)
class Ens160Options(I2COptions):
    """Where an ENS160 is, and the air that it corrects its values by."""

    address: Literal[0x52, 0x53] = 0x53
    """0x53, or 0x52 with the ADDR pin low."""

    temperature: Annotated[float, Interval(ge=-40, le=85)] = 25
    """Usual temperature of the place, °C."""

    humidity: Annotated[float, Interval(ge=0, le=100)] = 50
    """Usual relative humidity of the place, %RH."""


class Ens160(RegisterPart):
    """ENS160: TVOC, 0 to 65000 ppb, and inferred CO2, 400 to 65000 ppm, once a second."""

    model = "ens160"
    Options = Ens160Options
    quantities = ("tvoc", "eco2")
    warm_up_ms = 180_000

    def prepare(self) -> None:
        """Check what it is and have it measure; raises Refused, NoAnswer, DeviceLost.

        One that measures already is let go on, for a change of mode may restart its warm-up.
        """
        found = int.from_bytes(self.sure(_ID, 2), "little")
        if found != _PART_ID:
            where = f"0x{self.options.address:02X}"
            raise Refused(f"I2C address {where} has no ENS160: part id {found:04X}, not 0160")
        if self.get(_MODE)[0] != _STANDARD:
            for mode in (_IDLE, _STANDARD):
                self.put(_MODE, bytes((mode,)))
                self.pause(_MODE_MS)
        self.put(_CLIMATE, encode_climate(self.options.temperature, self.options.humidity))

    def measure(self) -> Sample | None:
        """Take the newest sample, None if it was taken before; raises NoAnswer, DeviceLost.

        The status comes first, for reading the values takes its mark of news away.
        """
        if self.get(_STATUS)[0] & (_RUNNING | _NEW) != _RUNNING | _NEW:
            return None
        return decode(self.sure(_STATUS, 6))
