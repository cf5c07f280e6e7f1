"""Who puts what into the room, and when: a print with its burst, its dip and its plateau; people.

The shape of a print, a burst while the nozzle heats and purges and a slower plateau afterwards,
is what chamber studies report (emissions.md section 1: heating, not printing, triggers most
particles). All amounts here are ours, chosen to look like a low-cost part's view of a workshop.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

_HEAT_UP_S, _BURST_S, _DIP_S = 60, 180, 540


class Spell(NamedTuple):
    """Something that emits from one time to another, s since the start of the scenario."""

    label: str
    begins: int
    ends: int
    rates: Mapping[str, float]
    """Amount an hour, by pollutant."""


def _no_rates() -> dict[str, float]:
    return {}


@dataclass(frozen=True)
class Print:
    """One print: heat-up, burst, dip, plateau. Rates are amounts an hour, by pollutant."""

    begins: int
    """Start of the heat-up, s since the start of the scenario."""
    lasts: int
    """Length from the start of the heat-up, s; above 780."""
    burst: Mapping[str, float] = field(default_factory=_no_rates)
    plateau: Mapping[str, float] = field(default_factory=_no_rates)
    always: Mapping[str, float] = field(default_factory=_no_rates)
    """What is emitted throughout, heat for example."""
    dip: float = 0.1
    """Share of the plateau's rates that is left between burst and plateau."""

    def spells(self) -> tuple[Spell, ...]:
        """Lay the print out in time."""
        burst = self.begins + _HEAT_UP_S
        dip = burst + _BURST_S
        plateau = dip + _DIP_S
        end = self.begins + self.lasts
        little = {name: rate * self.dip for name, rate in self.plateau.items()}
        return (
            Spell("heating up", self.begins, burst, self.always),
            Spell("purge and first layer", burst, dip, {**self.always, **self.burst}),
            Spell("first walls", dip, plateau, {**self.always, **little}),
            Spell("printing", plateau, end, {**self.always, **self.plateau}),
        )


def rates_at(spells: Iterable[Spell], second: int) -> dict[str, float]:
    """Add up what is emitted in the second that begins at `second`, amount an hour."""
    total: dict[str, float] = {}
    for spell in spells:
        if spell.begins <= second < spell.ends:
            for name, rate in spell.rates.items():
                total[name] = total.get(name, 0.0) + rate
    return total


def label_at(spells: Iterable[Spell], second: int) -> str:
    """Name the first thing that emits at `second`, or nothing."""
    return next((s.label for s in spells if s.begins <= second < s.ends), "")
