"""Which channels can measure a room, how much of them is needed and how high they may go.

Particles and CO2 stay in the air until air or a filter takes them; gases that surfaces give back
(formaldehyde, VOC) are no tracers. Knows quantities, no store. The levels are ours.
"""

from typing import NamedTuple

from ventwright.settings.model import MINUTE, Settings
from ventwright_drivers.quantities import QUANTITIES, Quantity


class Tracer(NamedTuple):
    """How a quantity is used."""

    least: float
    """The rise that a decay must begin with, the quantity's unit."""
    ceiling: float
    """The level at which holding off ends, unless the owner says otherwise."""
    settle: int = MINUTE
    """What is left out after a switch, ms: the relay, the part's lag, air that starts moving."""


_MASS, _NUMBER = Tracer(30, 250), Tracer(30, 2000)
TRACERS = {
    "pm1": _MASS, "pm2_5": _MASS, "pm4": _MASS, "pm10": _MASS,
    "n0_3": _NUMBER, "n0_5": _NUMBER, "n1": _NUMBER,
    "co2": Tracer(400, 3000, 3 * MINUTE),
}  # fmt: skip


def tracer(settings: Settings, channel: str) -> tuple[Quantity, Tracer]:
    """Look a channel up; raises ValueError, a sentence, if it is none or no tracer."""
    part, _, name = channel.partition(".")
    entry = settings.parts.get(part)
    if entry is None or name not in entry.quantities:
        raise ValueError(f'there is no channel "{channel}"; tracers here: {_there(settings)}')
    if name not in TRACERS:
        raise ValueError(
            f"{channel} is no tracer: surfaces give it back, or it is no concentration; "
            f"tracers here: {_there(settings)}"
        )
    return QUANTITIES[name], TRACERS[name]


def tracers(settings: Settings) -> list[str]:
    """List the channels that can be used, those first on which extraction is decided."""
    all_of_them = [
        f"{part}.{name}"
        for part, entry in settings.parts.items()
        for name in entry.quantities
        if name in TRACERS
    ]
    deciding = {alarm.channel for alarm in settings.alarms.values() if alarm.extract}
    return sorted(all_of_them, key=lambda channel: channel not in deciding)


def _there(settings: Settings) -> str:
    return ", ".join(tracers(settings)) or "none"


def beside(settings: Settings, channel: str) -> list[str]:
    """List the channels of other parts that measure the same, to see whether the air is mixed."""
    own, _, name = channel.partition(".")
    return [
        f"{part}.{name}"
        for part, entry in settings.parts.items()
        if part != own and name in entry.quantities
    ]
