"""ADS1115: analog gas elements at a 16-bit converter, by a calibration that the owner writes down.

Elements that give a voltage are taken for straight lines: (mV − zero_mv) / mv_per_unit. A heated
element with a load resistor below it is read as its resistance, raw. What these elements are
worth is what their calibration is worth. Source: protocols.md section 20.
"""

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from annotated_types import Gt, Interval

from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.i2c.link import I2COptions
from ventwright_drivers.i2c.register_part import RegisterPart
from ventwright_drivers.part import Sample

_RESULT, _CONFIG = 0x00, 0x01
_START, _SINGLE_ENDED, _ONCE = 0x8000, 0x4000, 0x0100
_128_A_SECOND, _NO_COMPARATOR = 0x0080, 0x0003
_RANGES = {6144: 0, 4096: 1, 2048: 2, 1024: 3, 512: 4, 256: 5}
_CONVERT_MS = 9  # 1/128 s and 10 %
_GLANCES, _GLANCE_MS = 5, 2
_LOWEST, _HIGHEST = -0x8000, 0x7FFF
_ZERO_WITHIN_MV = 10  # so far below its zero an element in clean air may drift (our choice)

Quantity = Literal["co", "co2", "hcho", "tvoc", "gas_resistance"]


@dataclass(frozen=True, kw_only=True)
class Ads1115Options(I2COptions):
    """Which input of which converter, and what stands behind it."""

    address: Literal[0x48, 0x49, 0x4A, 0x4B] = 0x48
    """0x48 with ADDR to GND, 0x49 to VDD, 0x4A to SDA, 0x4B to SCL."""

    input: Literal[0, 1, 2, 3] = 0
    """The input, 0 to 3, measured against GND; keep it below VDD whatever the full scale."""

    full_scale: Literal[256, 512, 1024, 2048, 4096, 6144] = 4096
    """The most that can be measured, mV."""

    quantity: Quantity
    """What the element measures; gas_resistance goes with `load`, the others with `zero_mv`."""

    zero_mv: float | None = None
    """Voltage in clean air, mV."""

    mv_per_unit: float | None = None
    """Slope, mV for each ppm (co, co2), ppb (tvoc) or µg/m³ (hcho); below 0 if it falls."""

    load: Annotated[float, Gt(0)] | None = None
    """Load resistor between input and GND, Ω, below an element that goes up to `supply_mv`."""

    supply_mv: Annotated[float, Interval(ge=1000, le=6000)] = 5000.0
    """Voltage across element and load, mV."""

    def __post_init__(self) -> None:
        """Raise ValueError where the calibration is not one."""
        if self.quantity == "gas_resistance":
            if self.load is None:
                raise ValueError("gas_resistance needs load")
        elif self.zero_mv is None or not self.mv_per_unit:
            raise ValueError(f"{self.quantity} needs zero_mv, and mv_per_unit other than 0")


def config(options: Ads1115Options) -> int:
    """Write the word that starts one conversion of the input."""
    where = _SINGLE_ENDED | options.input << 12 | _RANGES[options.full_scale] << 9
    return _START | where | _ONCE | _128_A_SECOND | _NO_COMPARATOR


def decode(raw: bytes, full_scale: int) -> float | None:
    """Read a voltage, mV, −full scale to full scale; None at either end, where it is beyond."""
    counts = int.from_bytes(raw, "big", signed=True)
    return counts * full_scale / 32768 if _LOWEST < counts < _HIGHEST else None


def value(mv: float, options: Ads1115Options) -> float | None:
    """Apply the calibration to a voltage, mV; None where no element can give such a voltage.

    A little below zero counts as zero; what is further below stays so, to be found out of range.
    """
    if options.quantity == "gas_resistance":
        assert options.load is not None
        return options.load * (options.supply_mv / mv - 1) if 0 < mv <= options.supply_mv else None
    assert options.zero_mv is not None
    assert options.mv_per_unit is not None
    above = (mv - options.zero_mv) / options.mv_per_unit
    return 0.0 if above < 0 and abs(mv - options.zero_mv) <= _ZERO_WITHIN_MV else above


class Ads1115(RegisterPart):
    """ADS1115: one analog gas element, in the unit of its quantity, once a second."""

    model = "ads1115"
    Options = Ads1115Options
    quantities = ("co", "co2", "hcho", "tvoc", "gas_resistance")
    warm_up_ms = 180_000  # a heated element; electrochemical ones need longer once (from memory)

    @classmethod
    def quantities_of(cls, options: Any) -> tuple[str, ...]:
        """Name the one quantity that the options choose."""
        return (options.quantity,)

    def prepare(self) -> None:
        """See that somebody answers; raises NoAnswer, DeviceLost."""
        self.get(_CONFIG, 2)

    def measure(self) -> Sample:
        """Convert once; raises NoAnswer if that does not end or was not of our input, DeviceLost.

        Until a conversion is over the result is that of another input.
        """
        wanted = config(self.options)
        self.put(_CONFIG, wanted.to_bytes(2, "big"))
        self.pause(_CONVERT_MS)
        self._await(wanted)
        mv = decode(self.sure(_RESULT, 2), self.options.full_scale)
        if mv is None:
            most = f"{self.options.full_scale / 1000:g} V"
            return Sample((None,), f"input {self.options.input} is beyond ±{most}")
        return Sample((value(mv, self.options),))

    def _await(self, wanted: int) -> None:
        for _ in range(_GLANCES):
            if int.from_bytes(self.get(_CONFIG, 2), "big") == wanted:
                return
            self.pause(_GLANCE_MS)
        where = f"I2C address 0x{self.options.address:02X}"
        raise NoAnswer(f"{where} does not convert, or somebody else sets it up too")
