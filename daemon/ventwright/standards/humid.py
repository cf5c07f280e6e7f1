"""What humidity does: dew point, water in the air, water that particles take up."""

from math import exp, log

_A = 17.625
_B = 243.04  # °C
_SATURATION = 6.1094  # hPa at 0 °C; from memory
_WATER = 216.679  # g K/(m³ hPa): 100 000 / 461.5 J/(kg K), water vapour
_DRY_DENSITY = 1.65  # g/cm³, as assumed by the source
_DRIEST, _WETTEST = 0.0, 100.0

KAPPA = 0.4
"""How readily particles take up water, for outdoor air: 0.38 to 0.41 were fitted in AMT 11,
709 (2018; figures from memory). Elsewhere less was found: 0.15 to 0.29 in AMT 17, 6073 (2024)."""

HIGHEST_ACTIVITY = 0.95
"""The factor is not computed for wetter air than this: it grows without end towards 100 %RH.
Our own rule."""


def dew_point(celsius: float, humidity: float) -> float:
    """Give the dew point, °C, at a temperature (°C, -40 to 60) and humidity (%RH, above 0 to 100).

    Within 0.35 °C. Raises ValueError for a humidity that is not above 0 and up to 100.
    Source: BAMS 86, 225 (2005), with 17.625 and 243.04 °C (J. Appl. Meteor. 35, 601, 1996; the
    place of the latter from memory).
    """
    _check(humidity, above=_DRIEST)
    gamma = log(humidity / 100) + _A * celsius / (_B + celsius)
    return _B * gamma / (_A - gamma)


def absolute_humidity(celsius: float, humidity: float) -> float:
    """Give the water in the air, g/m³, at a temperature (°C, -40 to 60) and humidity (0..100 %RH).

    Within about 0.4 %, most of it the formula of the saturation pressure. Raises ValueError for
    a humidity that cannot be.
    Source: ideal gas, 216.679 e / T with e in hPa (a hygrometer maker's manual M211280EN-D);
    saturation pressure as for the dew point, its 6.1094 hPa from memory.
    """
    _check(humidity)
    pressure = _SATURATION * exp(_A * celsius / (_B + celsius)) * humidity / 100
    return _WATER * pressure / (celsius + 273.15)


def growth(humidity: float, kappa: float = KAPPA) -> float:
    """Give by how much water makes an optical mass read too high, at 0..100 %RH; 1 is not at all.

    The dry mass is the reading divided by it. Above 95 %RH the factor for 95 %RH is given.
    `kappa`, at least 0, tells how readily the particles take up water: it is that of outdoor
    air unless given, and what printers emit takes up hardly any. Raises ValueError for a humidity
    that cannot be.
    Source: C = 1 + (kappa / 1.65) / (1 / aw - 1), AMT 11, 709-720 (2018),
    doi 10.5194/amt-11-709-2018; the formula is confirmed at second hand.
    """
    _check(humidity)
    if humidity == _DRIEST:
        return 1.0
    activity = min(humidity / 100, HIGHEST_ACTIVITY)
    return 1 + kappa / _DRY_DENSITY / (1 / activity - 1)


def _check(humidity: float, above: float = -1.0) -> None:
    if not above < humidity <= _WETTEST or humidity < _DRIEST:
        raise ValueError(f"{humidity:g} %RH is no relative humidity that can be used here")
