"""Tells the water in the air of every part that measures temperature and humidity.

Takes means as they are told; knows no store. Filament takes up water from the air by it, and below
the dew point things get wet.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ventwright.standards.humid import absolute_humidity, dew_point

Told = dict[str, Any]


def water_told(channels: Iterable[Told]) -> Iterator[Told]:
    """Tell dew point, °C, and water, g/m³, of the shortest mean that both quantities have."""
    means = {told["channel"]: told["means"] for told in channels}
    for channel in means:
        part, _, quantity = channel.partition(".")
        if quantity == "humidity" and (found := _of(part, means)):
            yield found


def _of(part: str, means: Mapping[str, list[Told]]) -> Told | None:
    wet = means[f"{part}.humidity"]
    warm = {mean["over"]: mean["mean"] for mean in means.get(f"{part}.temperature", ())}
    for mean in wet:
        celsius, humidity = warm.get(mean["over"]), mean["mean"]
        if celsius is not None and humidity is not None and 0 < humidity <= 100:
            return {
                "part": part,
                "over": mean["over"],
                "dew point (°C)": round(dew_point(celsius, humidity), 1),
                "water (g/m³)": round(absolute_humidity(celsius, humidity), 1),
            }
    return None
