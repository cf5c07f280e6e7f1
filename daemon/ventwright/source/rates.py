"""The loss rates that may hold in a room, and how likely each is before anything is seen.

Where the room was commissioned: its natural rate, and with extractors the share of their
commissioned clearance that is really there, from none to a quarter more. Where it was not: rates
that rooms and fans have, known to a factor of two or three, and what was seen of them before.

Knows no channel and no reading.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

SHARES = (0.0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25)
"""Shares of the commissioned clearance that are followed side by side."""

_FAILING = 0.2
"""Chance that a fan does less than it did, and nobody knows how much. Ours."""
TRUST = 0.1
"""How well a commissioned clearance still holds on another day, as a share: doors and weather."""

_NATURAL = (0.3, 0.45, 0.65, 0.95, 1.4, 2.0, 3.0)
_CLEARING = (1.0, 1.5, 2.2, 3.2, 4.7, 7.0, 10.0, 15.0, 22.0)
_SPREAD = 0.7
"""Standard deviation of the logarithm of a rate that nobody measured."""
_NATURAL_MEDIAN, _CLEARING_MEDIAN = 0.9, 5.0
"""1/h; common practice, no source: rooms with closed windows, and fans bought for a room."""

_FORGET, _NEW = 0.8, 0.1


class Assumed(NamedTuple):
    """Rates that may hold, 1/h, with their chances; shares where clearance was commissioned."""

    rates: tuple[float, ...]
    chances: tuple[float, ...]
    natural: float
    """The rate without extraction, 1/h."""
    shares: tuple[float, ...] = ()
    error: float = 0.0
    """Standard error of the rates as a share of them, beside what the chances say."""
    doubt: float = 0.0
    """Standard error of the commissioned clearance as a share of it."""

    @property
    def added(self) -> float:
        """The commissioned clearance, 1/h; 0 without extraction."""
        return (self.rates[-1] - self.natural) / self.shares[-1] if self.shares else 0.0

    @property
    def measured(self) -> bool:
        """Whether the room was commissioned."""
        return bool(self.shares) or len(self.rates) == 1

    @classmethod
    def restored(cls, saved: Sequence[Any]) -> "Assumed":
        """Make one of the list that was saved; raises TypeError or ValueError."""
        rates, chances, natural, shares, error, *doubt = saved
        return cls(tuple(rates), tuple(chances), natural, tuple(shares), error, *doubt)


def _normal(values: Sequence[float]) -> tuple[float, ...]:
    total = sum(values)
    return tuple(value / total for value in values)


def _lognormal(rates: Sequence[float], median: float) -> tuple[float, ...]:
    return _normal([math.exp(-((math.log(r / median) / _SPREAD) ** 2) / 2) for r in rates])


def commissioned(natural: float, added: float, error: float) -> Assumed:
    """Assume what was measured: `added` is the clearance minus the natural rate, 1/h.

    `error` is the relative standard error of `added`. With nothing added the natural rate is all.
    """
    if not added:
        return Assumed((natural,), (1.0,), natural, (), error)
    spread = math.hypot(error, TRUST)
    chances = [
        width * ((1 - _FAILING) * _bell(share, spread) + _FAILING / SHARES[-1])
        for share, width in zip(SHARES, _WIDTHS, strict=True)
    ]
    rates = tuple(natural + share * added for share in SHARES)
    return Assumed(rates, _normal(chances), natural, SHARES, 0.04, error)


def _bell(share: float, spread: float) -> float:
    return math.exp(-(((share - 1) / spread) ** 2) / 2) / spread / math.sqrt(2 * math.pi)


def _widths() -> tuple[float, ...]:
    ends = (0.0, *((a + b) / 2 for a, b in pairwise(SHARES)), 1.35)
    return tuple(b - a for a, b in pairwise(ends))


_WIDTHS = _widths()


def unmeasured(extracting: bool, seen: Sequence[float] | None) -> Assumed:
    """Assume what rooms and fans usually do; `seen` are the chances that were left of it before."""
    rates = _CLEARING if extracting else _NATURAL
    prior = _lognormal(rates, _CLEARING_MEDIAN if extracting else _NATURAL_MEDIAN)
    chances = prior
    if seen and len(seen) == len(rates):
        kept = _normal([one**_FORGET for one in seen])
        chances = tuple((1 - _NEW) * k + _NEW * p for k, p in zip(kept, prior, strict=True))
    return Assumed(rates, chances, _NATURAL_MEDIAN, (), 0.1)
