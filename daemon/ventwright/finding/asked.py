"""A configured part or relay, as those who look for it know it.

Knows its model, its place and the name of its table; knows no other table.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from ventwright.finding.found import Models
from ventwright_drivers.part import Wiring

Spots = Collection[tuple[int, int]]
"""Bus and address of every configured device."""


@dataclass(frozen=True)
class Asked:
    """A configured part or relay, and a wiring to look through while it is closed."""

    table: str
    """Its table in the configuration, such as `parts.bench`."""

    model: str
    options: Any
    wiring: Wiring

    driver: str
    """Where its class is: those of others may well speak in frames like those of our parts."""

    @property
    def port(self) -> str:
        """The serial port, "" for what has none."""
        return getattr(self.options, "port", "")

    @property
    def spot(self) -> tuple[int, int] | None:
        """Bus and address, None for what is not on I2C."""
        return spot_of(self.options)


def spot_of(options: Any) -> tuple[int, int] | None:
    """Give bus and address of what is on I2C, None for anything else."""
    spot = getattr(options, "bus", None), getattr(options, "address", None)
    return None if None in spot else spot  # type: ignore[return-value]


def unlike(asked: Asked, place: str, models: Models) -> str:
    """Say that a place has another part than the configured one, "" if it can be that one."""
    ours = asked.driver.startswith("ventwright_drivers.")
    if not models or asked.model in models or not ours:
        return ""
    told = f"{place} has a {either(models)}, not the {asked.model} of [{asked.table}]"
    if _is_relay(models[0]) != _is_relay(asked.model):
        return f"{told}: have two ports been exchanged?"
    if len(models) == 1:
        return f'{told}: write model = "{models[0]}" there'
    return f"{told}: write as model there what is printed on it"


def _is_relay(model: str) -> bool:
    return model.startswith("relay-")


def either(models: Models) -> str:
    """List models as `a, b or c`."""
    *others, last = models
    return f"{', '.join(others)} or {last}" if others else last
