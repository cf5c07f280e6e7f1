"""Water in the air, told of parts that measure both quantities; figures in tests/reference."""

from typing import Any

from ventwright.averaging.water import water_told
from ventwright.averaging.words import lines


def channel(name: str, *means: float | None) -> dict[str, Any]:
    told = [
        {"over": over, "mean": mean} for over, mean in zip(("1 min", "1 h"), means, strict=True)
    ]
    return {"channel": name, "means": told}


def test_the_shortest_mean_that_both_have_is_used() -> None:
    found = water_told(
        [
            channel("shelf.temperature", 25.0, 20.0),
            channel("shelf.humidity", None, 50.0),
            channel("bench.humidity", 50.0, 50.0),
        ]
    )
    assert list(found) == [
        {"part": "shelf", "over": "1 h", "dew point (°C)": 9.3, "water (g/m³)": 8.6}
    ]


def test_without_a_mean_or_in_bone_dry_air_nothing_is_told() -> None:
    dry = [channel("a.temperature", 20.0, None), channel("a.humidity", 0.0, 40.0)]
    assert not list(water_told(dry))


def test_no_climate_part_needs_no_line() -> None:
    assert not any("dew point" in line for line in lines("room", []))
