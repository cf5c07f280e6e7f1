"""What emits in an episode: kinds that the rules were chosen on, and kinds that they were not.

Knows chance and the time of day of an episode; no room, no fan and no part.
"""

import math
import random
from collections.abc import Iterator
from itertools import pairwise
from typing import Literal

from ventwright.rehearsal.emission import Print, Spell

Shape = Literal["print", "even", "short", "steps", "ramp", "fading", "joined", "door", "volume"]
KNOWN: tuple[Shape, ...] = ("print", "even", "short")
STRANGE: tuple[Shape, ...] = ("steps", "ramp", "fading", "joined", "door", "volume")
"""Tried for false notices only. Of these the rules were made to bear ramps and fading, on seeds
below a hundred; the others were kept back."""

BEGINS = 2400
_RAMP_S = 30


def spells_of(shape: Shape, chance: random.Random) -> tuple[Spell, ...]:
    """Let chance choose strength and times of one kind of source, s and µg/h."""
    size = math.exp(chance.gauss(0.0, 0.5))
    burst = {"fine": 42_000 * size, "middle": 3000 * size}
    plateau = {"fine": 3200 * size, "middle": 240 * size}
    if shape in ("print", "door", "volume"):
        lasts = chance.choice([1500, 2400, 3600, 4800])
        return Print(BEGINS, lasts, burst, plateau, {}).spells()
    even = {name: 3.5 * rate for name, rate in plateau.items()}
    if shape == "even":
        return (Spell("even", BEGINS, BEGINS + chance.choice([1800, 3600]), even),)
    if shape == "short":
        return (Spell("short", BEGINS, BEGINS + chance.choice([120, 180, 240]), burst),)
    if shape == "joined":
        return (*_stairs([(0, 1.0), (3600, 0.0)], even), *_second(chance, burst, plateau))
    if shape == "fading":
        return tuple(_fades(chance, {name: 3 * rate for name, rate in even.items()}))
    corners = _steps(chance) if shape == "steps" else _ramp(chance)
    return tuple(_stairs(corners, even) if shape == "steps" else _slopes(corners, even))


def _steps(chance: random.Random) -> list[tuple[int, float]]:
    """Change strength at times by chance, by factors by chance."""
    corners, t = [(0, 1.0)], 0
    for _ in range(chance.choice([2, 3, 4, 5])):
        t += round(chance.uniform(180, 1200))
        corners.append((t, math.exp(chance.gauss(0.0, 0.6))))
    return [*corners, (t + 900, 0.0)]


def _ramp(chance: random.Random) -> list[tuple[int, float]]:
    """Rise for a while, stay for a while, fall for a while, straight."""
    rise, stay, fall = (
        round(chance.uniform(*ends)) for ends in ((120, 2400), (0, 1200), (120, 2400))
    )
    top = math.exp(chance.gauss(0.3, 0.3))
    return [(0, 0.0), (rise, top), (rise + stay, top), (rise + stay + fall, 0.0)]


def _fades(chance: random.Random, rates: dict[str, float]) -> Iterator[Spell]:
    """Begin at once and fade, as what smokes does, to nothing after five time constants."""
    lasts = round(chance.uniform(120, 900))
    for t in range(0, 5 * lasts, _RAMP_S):
        share = math.exp(-t / lasts)
        emitted = {name: share * rate for name, rate in rates.items()}
        yield Spell("fading", BEGINS + t, BEGINS + t + _RAMP_S, emitted)


def _second(
    chance: random.Random, burst: dict[str, float], plateau: dict[str, float]
) -> tuple[Spell, ...]:
    joins = BEGINS + round(chance.uniform(300, 1800))
    return Print(joins, chance.choice([1500, 2400]), burst, plateau, {}).spells()


def _stairs(corners: list[tuple[int, float]], rates: dict[str, float]) -> Iterator[Spell]:
    for (begins, share), (ends, _) in pairwise(corners):
        emitted = {name: share * rate for name, rate in rates.items()}
        yield Spell("step", BEGINS + begins, BEGINS + ends, emitted)


def _slopes(corners: list[tuple[int, float]], rates: dict[str, float]) -> Iterator[Spell]:
    for (begins, low), (ends, high) in pairwise(corners):
        for t in range(begins, ends, _RAMP_S):
            share = low + (high - low) * (t + _RAMP_S / 2 - begins) / (ends - begins)
            emitted = {name: max(0.0, share) * rate for name, rate in rates.items()}
            until = min(t + _RAMP_S, ends)
            yield Spell("slope", BEGINS + t, BEGINS + until, emitted)
