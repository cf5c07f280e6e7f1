"""Converts gases between mass concentration and mixing ratio, at a stated temperature and pressure.

µg/m³ = ppb x M / Vm and mg/m³ = ppm x M / Vm, with M in g/mol and Vm, the volume of a mole of
gas, in L/mol (ideal gas: Vm = R T / P).
"""

MOLAR_VOLUME = 24.45
"""L/mol at 25 °C and 1 atm (1013.25 hPa): the rounded figure that industrial hygiene uses, so
that published factors come out as published. The reference state is that of OSHA table Z-1, note
(a); the figure itself is from memory. The ideal gas has 24.4654, 0.06 % more.
"""

MOLAR_MASS = {
    "hcho": 30.03,
    "co": 28.01,
    "no2": 46.01,
    "styrene": 104.15,
    "acetone": 58.08,
    "toluene": 92.14,
}
"""g/mol. Formaldehyde: WHO 2010, chapter 5.8; acetone: NAP record 689; the others from memory,
from standard atomic weights."""

_GAS_CONSTANT = 8.314462618  # J/(mol K), exact since the SI of 2019 to these digits
_ZERO_CELSIUS = 273.15
_PARTS = {"ppb": 1.0, "ppm": 1000.0}
_MASS = {"µg/m³": 1.0, "mg/m³": 1000.0}
_SCALE = _PARTS | _MASS


def molar_volume(celsius: float, hectopascal: float = 1013.25) -> float:
    """Give the volume of a mole of ideal gas, L/mol, at a temperature (°C) and pressure (hPa).

    Within 0.1 % for air near room conditions. Raises ValueError at or below absolute zero or
    without pressure. Source: ideal gas law.
    """
    if celsius <= -_ZERO_CELSIUS or hectopascal <= 0:
        raise ValueError("a temperature above -273.15 °C and a pressure above 0 hPa are needed")
    return _GAS_CONSTANT * (celsius + _ZERO_CELSIUS) / hectopascal * 10


def convert(
    value: float, unit: str, into: str, gas: str = "", volume: float = MOLAR_VOLUME
) -> float:
    """Give a concentration in another unit: ppb, ppm, µg/m³ or mg/m³, any to any.

    `gas` is a key of MOLAR_MASS and is needed between mass and mixing ratio only; `volume` is
    the molar volume, L/mol (25 °C and 1 atm unless given: see `molar_volume`). Raises ValueError
    for other units and for gases without a molar mass here.
    Source: NIOSH Pocket Guide to Chemical Hazards, which rounds the factors to three digits.
    """
    if unit == into:
        return value
    if unit not in _SCALE or into not in _SCALE:
        raise ValueError(f"{unit} cannot be told in {into}")
    scaled = value * _SCALE[unit] / _SCALE[into]
    if (unit in _MASS) == (into in _MASS):
        return scaled
    if gas not in MOLAR_MASS:
        raise ValueError(f"no molar mass is known to tell {unit} in {into}")
    factor = MOLAR_MASS[gas] / volume
    return scaled * factor if into in _MASS else scaled / factor
