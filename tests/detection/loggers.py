"""What a logger keeps of some days in a house: a CSV as an owner would bring it."""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np

from detection.strangers import DAY_S, STEP_S, Array, Days, Logger

START = datetime(2026, 3, 2, tzinfo=UTC)
_FACTORS = {"pm1": 0.7, "pm2_5": 1.0, "pm10": 1.15, "n0_3": 9.0, "n0_5": 2.5, "n1": 0.4}
_OTHERS = {"co2": (8, 1), "temperature": (0.02, 0.01), "humidity": (0.05, 0.01)}
"""Noise and resolution."""


class Log(NamedTuple):
    """Times, s, and the values of each column."""

    times: Array
    values: dict[str, Array]


def _lagged(level: Array, tau: float) -> Array:
    catch, at, out = 1 - math.exp(-STEP_S / tau), level[0], []
    for x in level.tolist():
        at += catch * (x - at)
        out.append(at)
    return np.array(out)


def _times(logger: Logger, lasts: float, dice: np.random.Generator) -> Array:
    count = int(lasts / logger.every)
    every = logger.every + logger.jitter * dice.uniform(-1, 1, count)
    times = np.cumsum(np.maximum(1.0, every))
    for _ in range(dice.poisson(logger.gaps * lasts / DAY_S)):
        begins = dice.uniform(0, lasts)
        pause = math.exp(dice.uniform(math.log(120), math.log(14_400)))
        times = times[(times < begins) | (times > begins + pause)]
    return np.asarray(times[times < lasts])


def keep(logger: Logger, days: Days, dice: np.random.Generator) -> Log:
    """Keep what a logger would."""
    times = _times(logger, float(days.t[-1]), dice)
    seen = np.interp(times, days.t, _lagged(days.level, logger.lag))
    spread = np.hypot(logger.floor, logger.share * seen)
    values: dict[str, Array] = {}
    for column in logger.columns:
        kind, noise = column.partition(".")[2], dice.normal(size=len(times))
        if kind in _OTHERS:
            rough, step = _OTHERS[kind]
            value = np.interp(times, days.t, _lagged(days.others[kind], 60)) + rough * noise
        elif kind == "voc_index":
            value, step = 100 + 20 * np.sin(times / 20_000) + 3 * noise, 1
        else:
            step = 0.01 if kind.startswith("n") else logger.resolution
            value = _FACTORS.get(kind, 0.03) * (seen + spread * noise)
        values[column] = np.maximum(0, np.round(value / step) * step)
    return Log(times, values)


def write(log: Log, path: Path) -> None:
    """Write a log as a file with a row a time."""
    rows = zip(log.times.tolist(), *(v.tolist() for v in log.values.values()), strict=True)
    with path.open("w", encoding="utf-8") as file:
        file.write(",".join(["time", *log.values]) + "\n")
        for t, *values in rows:
            stamp = (START + timedelta(seconds=t)).isoformat(timespec="milliseconds")
            file.write(",".join([stamp, *(f"{v:g}" for v in values)]) + "\n")
