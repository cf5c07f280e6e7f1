"""Says averages and limits in lines that people read."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from ventwright.averaging.water import water_told
from ventwright_drivers.quantities import QUANTITIES

Told = dict[str, Any]

ULTRAFINE = (
    "Optical particle sensors do not see ultrafine particles, which printers emit most of: "
    "below a limit for PM is no proof of clean air."
)
CONVERTED = "ppm and mg/m³ are converted at 25 °C and 1013.25 hPa (24.45 L/mol)."
AVERAGED = "A limit means something only over its own averaging time; limits over a year, in force "
AVERAGED += "for years of breathing, are not compared with a day."
INDEX = (
    "The index is the US EPA's for outdoor air (breakpoints of 2024), NowCast its estimate of now."
)
WORK = (
    "Limits at work are for healthy adults, never for homes and schools; today's worst shift is "
    "that of somebody who never left the room."
)
CLOCK = "The clock was not known to be right at the time: hours and days may be off."


def lines(room: str, channels: list[Told]) -> Iterator[str]:
    """Write the averages of a room, a line each."""
    yield f"{room}: averages, and published limits of the same averaging time"
    for told in channels:
        yield ""
        yield from _channel(told)
    yield ""
    yield from _water(channels)
    yield from _notes(channels)


def _channel(told: Told) -> Iterator[str]:
    corrected = ", corrected for humidity" if told["corrected for humidity"] else ""
    until = datetime.fromisoformat(told["until"])
    yield (
        f"{told['channel']}: {told['title']} in {told['unit']} ({told['model']}{corrected}), "
        f"until {until:%d %B %H:%M:%S}"
    )
    digits = len(str(_quantity(told).per_unit)) - 1
    for mean in told["means"]:
        yield f"  {mean['over']:>6}  {_number(mean, digits):>14}"
        yield from _limits(mean["public limits"], "public")
    for what, index in told.get("index", {}).items():
        yield f"  {what}: {_index(index, told['unit'])}"
    for work in told["at work today"]:
        when = f", until {work['until'][11:16]}" if work["until"] else ""
        yield f"  at work today, {work['what']}: {_number(work, digits)}{when}"
        yield from _limits(work["limits"], "occupational")


def _water(channels: list[Told]) -> Iterator[str]:
    found = list(water_told(channels))
    for told in found:
        yield (
            f"{told['part']}: dew point {told['dew point (°C)']:.1f} °C, "
            f"{told['water (g/m³)']:.1f} g/m³ of water in the air, over {told['over']}"
        )
    if found:
        yield ""


def _quantity(told: Told) -> Any:
    return QUANTITIES[told["channel"].partition(".")[2]]


def _number(mean: Told, digits: int) -> str:
    if mean["mean"] is None:
        return f"coverage {mean['coverage']:.0%}".replace("%", " %")
    return f"{mean['mean']:.{digits}f}"


def _limits(found: Iterable[Told], population: str) -> Iterator[str]:
    for limit in found:
        memory = " (figure from memory)" if limit["mark"] == "from memory" else ""
        yield f"            {_verdict(limit)} {limit['says']}{memory}, {population}"


def _verdict(limit: Told) -> str:
    if limit["share"] is None:
        return "not known:"
    share = f"{limit['share']:.0%}".replace("%", " %")
    return f"{share}, ABOVE" if limit["exceeded"] else f"{share} of"


def _index(index: Told | None, unit: str) -> str:
    if index is None:
        return "too little is known"
    return f"{index['value']:g} {unit}, air quality index {index['words']}"


def _notes(channels: list[Told]) -> Iterator[str]:
    compared = [
        limit
        for told in channels
        for group in (*told["means"], *told["at work today"])
        for limit in (*group.get("public limits", ()), *group.get("limits", ()))
    ]
    yield AVERAGED
    if any(told.get("index") for told in channels):
        yield INDEX
    if any(told["at work today"] for told in channels):
        yield WORK
    if any(limit["converted"] for limit in compared):
        yield CONVERTED
    if any(told["optical"] for told in channels):
        yield ULTRAFINE
    if not all(told["clock was right"] for told in channels):
        yield CLOCK
