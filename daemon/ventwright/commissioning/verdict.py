"""What a commissioning comes to: figures of each extractor, what the keeper is told, and words.

Takes rates, knows no store, keeper or clock.
"""

from math import hypot
from typing import Any, NamedTuple

from ventwright.commissioning.findings import Rate
from ventwright.mixing.zone import clean_air, half_life, time_to_fall

CAUTIONS = (
    "Extraction to outside takes in air elsewhere: it can draw flue gases back out of a stove or "
    "boiler. Ducts, make-up air and combustion are for licensed people and local codes.",
    "Losses are those of what was measured: finer particles and vapours go at other rates, and "
    "ultrafine particles are not seen.",
)

_PLAIN = 1.96


class Flow(NamedTuple):
    """Clean air, m³/h, with its standard error and 95 % interval."""

    value: float
    error: float
    low: float
    high: float


class Extractor(NamedTuple):
    """One extractor in this room."""

    name: str
    channel: str
    volume: float
    volume_error: float
    """Share."""
    natural: Rate
    clearance: Rate
    method: str

    @property
    def _seen(self) -> bool:
        """Whether the rates differ beyond what they may be off."""
        unsure = hypot(self.clearance.error, self.natural.error)
        return self.clearance.rate - self.natural.rate > _PLAIN * unsure

    @property
    def against(self) -> tuple[str, ...]:
        """Why it must not be concluded from."""
        why = [f"with all extractors off: {one}" for one in self.natural.why]
        why += [f"with {self.name} on: {one}" for one in self.clearance.why]
        if not why and not self._seen:
            why = [
                f"{self.name} takes nothing out that could be seen: {self.clearance.rate:.3g} /h "
                f"with it, {self.natural.rate:.3g} /h without; is it plugged in, is the duct open?"
            ]
        return tuple(why)

    def words(self) -> dict[str, Any]:
        """Give what the keeper is told."""
        return {
            "name": self.name,
            "channel": self.channel,
            "volume": self.volume,
            "natural": self.natural.rate,
            "natural_error": self.natural.error,
            "clearance": self.clearance.rate,
            "clearance_error": self.clearance.error,
            "points": self.clearance.points,
            "method": self.method,
        }

    def flow(self) -> Flow:
        """Give the clean air that the extractor delivers."""
        apart = self.clearance.rate - self.natural.rate
        flow = clean_air(self.volume, self.clearance.rate, self.natural.rate)
        room = self.volume_error * self.volume * apart
        error = self.volume * hypot(self.clearance.error, self.natural.error)
        half = hypot(self.volume * hypot(self.clearance.half, self.natural.half), _PLAIN * room)
        return Flow(flow, hypot(error, room), max(0.0, flow - half), flow + half)


def told(one: Extractor) -> dict[str, Any]:
    """Tell an extractor as JSON."""
    answer: dict[str, Any] = {
        "extractor": one.name,
        "channel": one.channel,
        "method": one.method,
        "volume": {"value": one.volume, "share_unsure": one.volume_error, "unit": "m³"},
        "natural": _rate(one.natural),
        "clearance": _rate(one.clearance),
        "concluded": not one.against,
        "against": list(one.against),
    }
    if one.against:
        return answer
    flow = one.flow()
    return answer | {
        "clean_air": {
            "value": flow.value,
            "unit": "m³/h",
            "standard_error": flow.error,
            "low": flow.low,
            "high": flow.high,
        },
        "half_gone_min": 60 * half_life(one.clearance.rate),
        "tenth_left_min": 60 * time_to_fall(0.1, one.clearance.rate),
    }


def _rate(one: Rate) -> dict[str, Any] | None:
    """Tell a rate; None where nothing was measured."""
    if not one.error:
        return None
    return {
        "value": one.rate,
        "unit": "1/h",
        "standard_error": one.error,
        "low": one.low,
        "high": one.high,
        "points": one.points,
        "decays": len(one.decays),
        "r2": one.r2,
    }


def lines(one: Extractor) -> list[str]:
    """Say an extractor in words."""
    if one.against:
        return [f"{one.name}: nothing can be concluded.", *(f"  {why}" for why in one.against)]
    answer = told(one)
    air = answer["clean_air"]
    return [
        f"{one.name}, measured by {one.channel} in {one.volume:g} m³ "
        f"(taken as known to {one.volume_error:.0%}):",
        f"  without it the room clears by {one.natural.words}, with it by {one.clearance.words}",
        f"  so it delivers {air['value']:.0f} m³/h of clean air "
        f"(95 %: {air['low']:.0f} to {air['high']:.0f})",
        f"  with it half is gone after {answer['half_gone_min']:.0f} min, nine tenths after "
        f"{answer['tenth_left_min']:.0f} min; without it after "
        f"{60 * half_life(one.natural.rate):.0f} and "
        f"{60 * time_to_fall(0.1, one.natural.rate):.0f} min",
    ]
