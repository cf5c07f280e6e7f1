"""Rooms of another builder: a room, a corridor behind its door, outside behind its window.

A third family, on which nothing was developed and in which nearly all is otherwise than in
families.py: a zone round the part mixes with the rest of the room; the corridor has air of its own,
kitchen and filter included; people keep hours; prints come several a day, from the first day on,
with rates that wander. loggers.py keeps of it what some logger would; strange_weeks.py plays that
through the command as an owner does.
"""

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
STEP_S = 5
DAY_S = 86_400
H = STEP_S / 3600


class Logger(NamedTuple):
    """What writes the file: interval and its spread (s), how its part sees, what it keeps."""

    every: float
    jitter: float
    resolution: float
    floor: float
    """Noise in clean air, µg/m³."""
    share: float
    """Noise as a share of the level."""
    lag: float
    columns: tuple[str, ...]
    gaps: float = 0.0
    """Pauses a day, each of minutes to hours."""


class House(NamedTuple):
    """A kind of house; ranges are (from, to), rates in 1/h, levels in µg/m³."""

    name: str
    logger: Logger
    outside: tuple[float, float]
    """Its low of the afternoon and its high of the evening."""
    filtered: float
    """Share of the outdoor level that gets in where air leaks in."""
    leaks: tuple[float, float]
    sinks: tuple[float, float]
    busy: tuple[float, float, float, float]
    """Doors, windows, cooking in the corridor, cleaning in the room: times a day."""
    purifier: float = 0.0
    """Loss in the corridor by a filter."""


PM = ("bench.pm2_5",)
SIZES = ("bench.pm1", "bench.pm2_5", "bench.pm10")
COUNTS = (*SIZES, "bench.n0_3", "bench.n0_5", "bench.n1", "bench.n2_5")
CLIMATE = ("air.co2", "air.temperature", "air.humidity")
SCHOOL = (*SIZES, *CLIMATE, "gas.voc_index")
FLAT = (0.2, 0.8), (0.2, 0.5)
CELLAR = (0.1, 0.4), (0.3, 0.6)


def _house(name: str, logger: Logger, outside: tuple[float, float], *more: object) -> House:
    return House(name, logger, outside, *more)  # type: ignore[arg-type]


HOUSES = (
    _house(
        "garage, 1 s",
        Logger(1, 0, 1, 0.6, 0.06, 8, COUNTS),
        *((8, 30), 0.9, (0.5, 2), (0.2, 0.4), (6, 1, 0, 0.2)),
    ),
    _house(
        "flat, 10 s",
        Logger(10, 1, 1, 0.5, 0.07, 10, PM),
        *((5, 25), 0.7, *FLAT, (10, 2, 1.5, 0.3)),
    ),
    _house(
        "cellar, 10 s",
        Logger(10, 0.5, 0.1, 0.2, 0.05, 8, (*PM, *CLIMATE)),
        *((5, 15), 0.3, *CELLAR, (4, 0, 0.5, 0.1)),
    ),
    _house(
        "clean, 10 s",
        Logger(10, 0, 1, 0.3, 0.05, 8, PM),
        *((2, 5), 0.3, *CELLAR, (3, 0, 0.2, 0.1)),
    ),
    _house(
        "school, 1 min",
        Logger(60, 2, 1, 0.3, 0.05, 10, SCHOOL),
        *((6, 40), 0.8, (0.3, 1.5), (0.2, 0.6), (14, 3, 0.3, 0.7)),
    ),
    _house(
        "filtered, 1 min",
        Logger(60, 0, 0.1, 0.2, 0.05, 10, (*PM, "air.co2")),
        *((10, 40), 0.7, (0.2, 0.6), (0.2, 0.4), (8, 1, 1, 0.3), 4.0),
    ),
    _house(
        "flat, 5 min",
        Logger(300, 0, 1, 0.3, 0.04, 10, PM),
        *((5, 25), 0.7, *FLAT, (8, 1, 1, 0.3)),
    ),
    _house(
        "flat, 15 min",
        Logger(900, 0, 1, 0.2, 0.04, 10, PM),
        *((5, 25), 0.7, *FLAT, (8, 1, 1, 0.3)),
    ),
    _house(
        "gaps, 3 to 27 s",
        Logger(15, 12, 1, 0.6, 0.08, 10, SIZES, gaps=3),
        *((5, 60), 0.8, (0.3, 1.2), (0.2, 0.5), (8, 2, 1, 0.3)),
    ),
    _house(
        "smog, 2.3 s",
        Logger(2.3, 0.1, 1, 0.7, 0.07, 8, SIZES),
        *((20, 60), 0.8, (0.4, 1.2), (0.2, 0.5), (6, 1, 0.5, 0.2)),
    ),
)


class Emitting(NamedTuple):
    """A print: from when to when, s, and what it adds to its worst hour, µg/m³."""

    begins: float
    ends: float
    strength: float


class Doing(NamedTuple):
    """What people do: its name, from when to when, s, and the exchange (1/h) or rate it brings."""

    cause: str
    begins: float
    ends: float
    much: float


class Days(NamedTuple):
    """What happened in a house, every STEP_S; levels in µg/m³."""

    t: Array
    level: Array
    """The true level round the part."""
    bare: Array
    """What it would be without people and prints."""
    others: dict[str, Array]
    """CO2, temperature and humidity."""
    prints: list[Emitting]
    doings: list[Doing]


def moody(dice: np.random.Generator, count: int, tau: float) -> Array:
    """Draw a wandering of unit spread, `tau` s long."""
    kept = math.exp(-STEP_S / tau)
    pushes, at, out = dice.normal(size=count) * math.sqrt(1 - kept * kept), dice.normal(), []
    for push in pushes.tolist():
        at = at * kept + push
        out.append(at)
    return np.array(out)


def _weather(house: House, t: Array, dice: np.random.Generator) -> Array:
    """Draw the level outside: low after noon, high in the evening and at the rush hour."""
    low, high = house.outside
    hour = (t / 3600) % 24
    rush = np.exp(-(((hour - 8) / 1.2) ** 2)) * 0.6 + np.exp(-(((hour - 21) / 2.5) ** 2))
    days = np.interp(t, np.arange(9) * DAY_S, dice.uniform(0.2, 1.0, 9))
    wander = np.clip(1 + 0.15 * moody(dice, len(t), 2400), 0.5, 1.6)
    return np.asarray((low + (high - low) * rush * days) * wander)


def _times(dice: np.random.Generator, a_day: float, days: int) -> list[float]:
    count = dice.poisson(a_day * days)
    hours = dice.normal(15, 3.5, count).clip(6, 23.5)
    return sorted((dice.integers(0, days, count) * 24 + hours) * 3600)


def _open_door(dice: np.random.Generator) -> tuple[float, float]:
    """Draw for how long a door stands open, s, and its exchange: four in five only swing."""
    lasts = 8 + dice.exponential(40) if dice.random() < 0.8 else dice.uniform(120, 1800)
    return lasts, dice.uniform(2, 12)


_HABITS: dict[str, Callable[[np.random.Generator], tuple[float, float]]] = {
    "door": _open_door,
    "window": lambda dice: (dice.uniform(180, 1800), dice.uniform(2, 10)),
    "cooking": lambda dice: (dice.uniform(600, 2400), dice.uniform(20, 200)),
    "cleaning": lambda dice: (dice.uniform(300, 1200), dice.uniform(5, 25)),
}


def _doings(house: House, days: int, dice: np.random.Generator) -> Iterator[Doing]:
    for (cause, habit), a_day in zip(_HABITS.items(), house.busy, strict=True):
        for t in _times(dice, a_day, days):
            lasts, much = habit(dice)
            yield Doing(cause, t, t + lasts, much)


def _emissions(
    t: Array, days: int, dice: np.random.Generator
) -> Iterator[tuple[float, float, Array]]:
    """Draw prints of 10 min to 20 h: several a day, the first within hours of the beginning."""
    at = float(dice.uniform(0, 6) * 3600)
    while at < (days - 0.1) * DAY_S:
        ends = min(at + math.exp(dice.uniform(math.log(600), math.log(72_000))), days * DAY_S - 600)
        rate = np.exp(0.4 * moody(dice, len(t), 900))
        heating = dice.uniform(60, 400)
        start = np.where(t - at < heating, dice.choice([0.1, 0.4, 3.0]), 1.0)
        yield at, ends, np.where((t >= at) & (t < ends), rate * start, 0.0)
        at = ends + float(dice.uniform(2, 14) * 3600)


class _Room(NamedTuple):
    """What is drawn of one room, 1/h, and what its openings do at every moment."""

    house: House
    leak: float
    sink: float
    mixing: float
    rates: tuple[Array, ...]
    """Door, window (1/h), cooking and cleaning (µg/m³ an hour)."""

    def added(self, rate: Array, near: bool) -> Array:
        """Give what a rate adds in the zone of the part, emitted near to it or not."""
        part = room = 0.0
        lost = (self.rates[0] + self.rates[1] + self.leak + self.sink).tolist()
        out = []
        for loss, r in zip(lost, rate.tolist(), strict=True):
            flow = self.mixing * (room - part)
            part, room = (
                part + H * (flow + (r * 10 if near else 0.0) - self.sink * part),
                room + H * (-flow * 0.1 + (0.0 if near else r) - loss * room),
            )
            out.append(part)
        return np.array(out)

    def level(self, outside: Array) -> Array:
        """Follow the level round the part without prints."""
        house, leak, sink = self.house, self.leak, self.sink
        part = room = hall = house.filtered * outside[0] * leak / (leak + sink)
        out = []
        rows = zip(outside.tolist(), *(rate.tolist() for rate in self.rates), strict=True)
        for o, door, window, cook, clean in rows:
            flow = self.mixing * (room - part)
            part += H * (flow - sink * part)
            hall += H * (house.filtered * 0.8 * o + cook - (0.8 + sink + house.purifier) * hall)
            gain = house.filtered * leak * o + window * (o - room) + door * (hall - room) + clean
            room += H * (gain - 0.1 * flow - (leak + sink) * room)
            out.append(part)
        return np.array(out)

    def others(self, t: Array) -> dict[str, Array]:
        """Follow temperature, moisture and CO2: walls, people, the corridor's air and outside's."""
        hour = (t / 3600) % 24
        cold = 8 - 5 * np.cos(2 * np.pi * (hour - 4) / 24)
        people = ((hour > 7) & (hour < 22) & (np.sin(t / 5000) > 0)).astype(float)
        fives, four = np.full(len(t), 5.0), np.full(len(t), 420.0)
        air = [
            self._follow(cold, 21.0, 19.5, 6.0, np.zeros(len(t))),
            self._follow(fives, 7.5, 7.0, 0.5, 0.3 * people),
            self._follow(four, 600.0, 650.0, 0.0, 250 * people),
        ]
        sat = 6.112 * np.exp(17.62 * air[0] / (243.12 + air[0])) * 216.7 / (273.15 + air[0])
        humidity = np.clip(100 * air[1] / sat, 5, 99)
        return {"temperature": air[0], "humidity": humidity, "co2": air[2]}

    def _follow(self, outside: Array, home: float, hall: float, pull: float, gain: Array) -> Array:
        at, out = home, []
        rows = zip(*(a.tolist() for a in (outside, gain, *self.rates[:2])), strict=True)
        for o, g, door, window in rows:
            change = pull * (home - at) + (self.leak + window) * (o - at) + door * (hall - at)
            at += H * (change + g)
            out.append(at)
        return np.array(out)


def _rates(t: Array, doings: list[Doing]) -> tuple[Array, ...]:
    rates = {cause: np.zeros(len(t)) for cause in _HABITS}
    for one in doings:
        rates[one.cause][(t >= one.begins) & (t < one.ends)] += one.much
    return tuple(rates.values())


def _worst_hour(level: Array) -> float:
    sums, hour = np.concatenate([[0], np.cumsum(level)]), 3600 // STEP_S
    return float(np.max(sums[hour:] - sums[:-hour]) / hour)


def live(house: House, seed: int, days: int, printing: bool) -> Days:
    """Live some days in a house."""
    dice = np.random.default_rng([seed, printing, *house.name.encode()])
    t = np.arange(0, days * DAY_S, float(STEP_S))
    outside, doings = _weather(house, t, dice), list(_doings(house, days, dice))
    leak, sink = dice.uniform(*house.leaks), dice.uniform(*house.sinks)
    mixing, near = dice.uniform(15, 60), bool(dice.random() < 0.5)
    room = _Room(house, leak, sink, mixing, _rates(t, doings))
    level, prints = room.level(outside), []
    for begins, ends, rate in _emissions(t, days, dice) if printing else ():
        adds = room.added(rate, near)
        strength = math.exp(dice.uniform(math.log(3), math.log(200)))
        level += adds * (strength / _worst_hour(adds))
        prints.append(Emitting(begins, ends, strength))
    calm = room._replace(rates=tuple(np.zeros(len(t)) for _ in room.rates))
    return Days(t, level, calm.level(outside), room.others(t), prints, doings)
