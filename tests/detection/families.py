"""Two families of invented rooms: one to develop on, one that is looked at only at the end.

Every number is a range from which a seed draws. Nothing here is taken from the rehearsal.
"""

from dataclasses import dataclass

Range = tuple[float, float]


@dataclass(frozen=True)
class PartView:
    """How a low-cost part shows the level, µg/m³: lag (s), noise, resolution, wander, period."""

    model: str
    period_s: float
    lag_s: float
    floor: float
    """Noise of a reading in clean air."""
    share: float
    """Noise as a share of the level, added in quadrature."""
    resolution: float
    bias: float
    wander: float
    """Standard deviation of a slow error (half an hour), which is no noise and no air."""


@dataclass(frozen=True)
class Family:
    """Ranges for rooms, their surroundings, what people do in them, and their printers."""

    name: str
    parts: tuple[PartView, ...]
    volume: Range
    leakage: Range
    """1/h"""
    deposition: Range
    fan: Range
    """m³/h"""
    outdoor: Range
    """Median level outside, µg/m³."""
    weather: Range
    """Spread of the logarithm of the outdoor level, as weather changes it."""
    weather_h: Range
    """How long weather lasts, h."""
    daily: Range
    """Share by which the outdoor level swings with the hour of the day."""
    humid_days: Range
    """Share of days that are humid."""
    doors: Range
    """Openings a week."""
    door_ach: Range
    """Exchange with outdoors while a door is open, 1/h."""
    vacuuming: Range
    """Times a week."""
    vacuum_peak: Range
    """By how much the level is higher at the end, µg/m³."""
    cooking: Range
    """Times a week, next door."""
    cooking_peak: Range
    shapes: tuple[str, ...]
    """Shapes of prints, see emitters.py."""
    strength: Range
    """What a print adds to its worst hour without the fan, µg/m³."""
    lasts_h: Range


KNOWN = Family(
    name="known rooms",
    parts=(
        PartView("pms5003", 2.3, 8.0, 0.7, 0.08, 1.0, 1.05, 0.25),
        PartView("pms5003", 2.3, 10.0, 0.35, 0.04, 1.0, 0.9, 0.15),
        PartView("sds011", 1.0, 10.0, 0.25, 0.05, 0.1, 0.95, 0.25),
        PartView("sds011", 1.0, 12.0, 0.6, 0.1, 0.1, 1.1, 0.35),
    ),
    volume=(25, 70),
    leakage=(0.3, 1.2),
    deposition=(0.2, 0.6),
    fan=(80, 300),
    outdoor=(4, 16),
    weather=(0.3, 0.6),
    weather_h=(8, 30),
    daily=(0.15, 0.5),
    humid_days=(0.05, 0.25),
    doors=(20, 80),
    door_ach=(2, 10),
    vacuuming=(1, 2),
    vacuum_peak=(1, 8),
    cooking=(3, 10),
    cooking_peak=(0.7, 6),
    shapes=("burst", "burst", "fading", "steady", "pulses"),
    strength=(3, 150),
    lasts_h=(0.7, 14),
)

HELD_OUT = Family(
    name="held-out rooms",
    parts=(
        PartView("pms5003", 1.0, 15.0, 1.0, 0.05, 1.0, 1.3, 0.3),
        PartView("pms7003", 2.3, 6.0, 0.2, 0.06, 1.0, 0.8, 0.1),
        PartView("sds011", 1.0, 20.0, 0.4, 0.12, 0.1, 1.2, 0.2),
        PartView("sds011", 1.0, 5.0, 0.1, 0.03, 0.1, 0.85, 0.4),
    ),
    volume=(15, 180),
    leakage=(0.15, 2.0),
    deposition=(0.1, 0.9),
    fan=(150, 600),
    outdoor=(3, 22),
    weather=(0.2, 0.7),
    weather_h=(4, 48),
    daily=(0.0, 0.6),
    humid_days=(0.0, 0.4),
    doors=(5, 140),
    door_ach=(1, 15),
    vacuuming=(0, 4),
    vacuum_peak=(0.5, 6),
    cooking=(0, 14),
    cooking_peak=(0.5, 5),
    shapes=("burst", "fading", "late", "ramp"),
    strength=(2, 300),
    lasts_h=(0.4, 20),
)
