"""The measured quantities, one canonical unit each, and the step in which they are kept.

A step is the resolution to which the daemon keeps a value: fine enough for every part we know,
coarse enough that a year of readings stays small. Values are whole numbers of steps from the
poller on, so that sums over any time are exact.
"""

from typing import NamedTuple


class Quantity(NamedTuple):
    """A measured quantity: canonical unit, steps per unit, and the range that can be true."""

    name: str
    title: str
    unit: str
    per_unit: int
    lowest: float
    highest: float
    raw: bool = False
    """True for a signal that is no concentration: only its ratio to clean air tells anything."""
    falls: bool = False
    """True where dirty air makes it smaller."""
    inferred: bool = False
    """True where the part works it out from something else than what its name says."""


QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity("pm1", "PM1", "µg/m³", 10, 0, 5000),
        Quantity("pm2_5", "PM2.5", "µg/m³", 10, 0, 5000),
        Quantity("pm4", "PM4", "µg/m³", 10, 0, 5000),
        Quantity("pm10", "PM10", "µg/m³", 10, 0, 5000),
        Quantity("n0_3", "particles above 0.3 µm", "1/cm³", 100, 0, 10_000),
        Quantity("n0_5", "particles above 0.5 µm", "1/cm³", 100, 0, 10_000),
        Quantity("n1", "particles above 1 µm", "1/cm³", 100, 0, 10_000),
        Quantity("n2_5", "particles above 2.5 µm", "1/cm³", 100, 0, 10_000),
        Quantity("n5", "particles above 5 µm", "1/cm³", 100, 0, 10_000),
        Quantity("n10", "particles above 10 µm", "1/cm³", 100, 0, 10_000),
        Quantity("hcho", "formaldehyde", "µg/m³", 10, 0, 20_000),
        Quantity("co", "CO", "ppm", 100, 0, 5000),
        Quantity("co2", "CO2", "ppm", 1, 1, 65_000),
        Quantity("tvoc", "TVOC", "ppb", 10, 0, 70_000),
        Quantity("eco2", "CO2 inferred from VOC", "ppm", 1, 1, 70_000, inferred=True),
        Quantity("voc_index", "VOC index (no concentration)", "index", 10, 0, 500),
        Quantity("nox_index", "NOx index (no concentration)", "index", 10, 0, 500),
        Quantity("voc_raw", "raw VOC signal", "counts", 1, 0, 65_535, raw=True, falls=True),
        Quantity("nox_raw", "raw NOx signal", "counts", 1, 0, 65_535, raw=True),
        Quantity(
            "gas_resistance", "resistance of the gas element", "Ω", 1, 0, 1e9, raw=True, falls=True
        ),
        Quantity("fan_speed", "fan speed", "1/min", 1, 0, 30_000),
        Quantity("temperature", "temperature", "°C", 100, -45, 130),
        Quantity("humidity", "relative humidity", "%RH", 100, 0, 100),
        Quantity("pressure", "pressure", "hPa", 100, 300, 1200),
    )
}
