"""How far the air of a room moves within an hour without anything emitting in it, by quantity.

Weather, the hour of the day, neighbours, a room that fills while it is not aired. Ours, from what
rooms are seen to do: formaldehyde has been seen to rise by 20 µg/m³ in two hours without any
source, PM2.5 by some µg/m³ an hour with the air outside. A rise below it within an hour cannot be
told from the room itself, a rise above it is taken for an episode.
"""

from ventwright_drivers.quantities import Quantity

SHARE = 0.1
"""What the level itself adds to the swing: dirtier air moves more."""

_SWINGS: dict[str, float] = {
    "pm1": 3.5,
    "pm2_5": 3.5,
    "pm4": 4.5,
    "pm10": 6,
    "n0_3": 120,
    "n0_5": 25,
    "n1": 3,
    "n2_5": 0.5,
    "n5": 0.3,
    "n10": 0.1,
    "hcho": 15,
    "co": 1,
    "co2": 150,
    "tvoc": 100,
    "eco2": 200,
    "voc_index": 40,
    "nox_index": 5,
    "voc_raw": 500,
    "nox_raw": 200,
    "gas_resistance": 5000,
    "fan_speed": 300,
    "temperature": 2,
    "humidity": 8,
    "pressure": 3,
}
"""In the quantity's canonical unit."""


def swing_of(quantity: Quantity) -> float:
    """Tell how far a quantity moves by itself within an hour, in steps, in the cleanest air."""
    return _SWINGS.get(quantity.name, 0.01 * quantity.highest) * quantity.per_unit
