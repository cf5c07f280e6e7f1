"""Test prints made by another generator than prints.py, where rooms and people do not keep to it.

Step by step (Euler), with an emission that never is steady. Run as
`cd tests && python -m trialling.otherwise [PRINTS]`; 150 prints of each case take some minutes.
"""

import math
import sys
from typing import Any, NamedTuple

import numpy as np

from trialling.prints import MINUTE_READINGS, STEP_S, Job, Part, analysed, seen
from ventwright.trials.series import Minute, Series, Span


class Case(NamedTuple):
    """What does not go as it should."""

    lag_s: float | None = None
    """Of the part; 5 to 30 s unless told."""
    fades_min: float = 0.0
    """The source ends slowly, with this time constant."""
    door: tuple[float, float, float] = (0.0, 0.0, 1.0)
    """From when to when in the decay a door is open (min), and by what losses grow."""
    drift: float = 0.0
    """The background drifts, standard deviation in µg/m³ an hour."""
    zones: float = 0.0
    """The print is in a third of the room, which the rest exchanges its air with, 1/h."""
    volume_error: float = 0.05
    """The standard deviation of the volume; 0.05 is stated."""


CASES = {
    "nothing": Case(),
    "the part lags by a minute": Case(lag_s=60),
    "the source fades in 3 min": Case(fades_min=3),
    "the source fades in 6 min": Case(fades_min=6),
    "the source fades in 12 min": Case(fades_min=12),
    "a door is open for 5 min": Case(door=(15, 20, 2.5)),
    "a door is opened towards the end": Case(door=(40, 60, 2.5)),
    "a door is wide open for 10 min": Case(door=(10, 20, 4)),
    "the background drifts by 1.5 an hour": Case(drift=1.5),
    "two zones": Case(zones=20),
    "the volume is off by twice what is stated": Case(volume_error=0.1),
}

BACKGROUND, DECAY = 20, 60

Levels = np.ndarray[Any, Any]


class Drawn(NamedTuple):
    """A room and a print."""

    volume: float
    loss: float
    level: float
    emitted: float
    prints: int


def _draw(dice: np.random.Generator, case: Case) -> tuple[Drawn, float]:
    stated = float(dice.uniform(25, 80))
    volume = stated * (1 + case.volume_error * float(dice.standard_normal()))
    loss, level = float(dice.uniform(0.6, 2)), float(dice.uniform(2, 12))
    emitted = math.exp(float(dice.uniform(math.log(150), math.log(20_000))))
    return Drawn(volume, loss, level, emitted, int(dice.uniform(20, 90))), stated


def _emission(drawn: Drawn, case: Case, minutes: Levels) -> Levels:
    rate = np.zeros(len(minutes))
    on = (minutes >= 0.5) & (minutes < drawn.prints)
    rate[on] = 1 + 0.8 * np.exp(-minutes[on] / 6) + 0.2 * np.sin(minutes[on] / 3)
    if case.fades_min:
        after = minutes >= drawn.prints
        fading = np.exp(-(minutes[after] - drawn.prints) / case.fades_min)
        rate[after] = rate[on][-1] * fading
    return np.asarray(rate * drawn.emitted / (rate.sum() * STEP_S / 3600))


def _levels(drawn: Drawn, case: Case, drift: float) -> Levels:
    count = int((BACKGROUND + drawn.prints + DECAY) * 60 / STEP_S)
    minutes = np.arange(count) * STEP_S / 60 - BACKGROUND
    emission = _emission(drawn, case, minutes) / drawn.volume * STEP_S / 3600
    opened, closed, by = case.door
    past = minutes - drawn.prints
    loss = np.where((past > opened) & (past < closed), by, 1.0) * drawn.loss * STEP_S / 3600
    around = drawn.level + drift * (minutes + BACKGROUND) / 60
    found, near, far = np.empty(count), around[0], around[0]
    mixing = case.zones * STEP_S / 3600
    for n in range(count):
        apart = near - far
        near += (3 if mixing else 1) * emission[n] - loss[n] * (near - around[n]) - mixing * apart
        far += mixing * apart / 2 - loss[n] * (far - around[n])
        found[n] = far if mixing else near
    return found


def one_print(seed: int, case: Case) -> bool | None:
    """Draw one; tells whether the interval holds what was emitted, None where none is told."""
    dice = np.random.default_rng(seed)
    drawn, stated = _draw(dice, case)
    true = _levels(drawn, case, case.drift * float(dice.standard_normal()))
    lag = float(dice.uniform(5, 30)) if case.lag_s is None else case.lag_s
    part = Part(lag_s=lag, correlated_s=float(dice.uniform(20, 120)))
    means = seen(true, part, dice).reshape(-1, MINUTE_READINGS).mean(axis=1)
    minutes = [Minute(n / 60, (n + 1) / 60, float(mean)) for n, mean in enumerate(means)]
    first, second = BACKGROUND / 60, (BACKGROUND + drawn.prints) / 60
    spans = Span(0, first), Span(first, second), Span(second, second + DECAY / 60)
    job = Job(drawn.emitted, BACKGROUND, drawn.prints, DECAY)
    total = analysed(Series(minutes, *spans, part.step), job, stated).total
    if total.low is None or total.high is None:
        return None
    if total.below is not None:
        return drawn.emitted <= total.below
    return total.low <= drawn.emitted <= total.high


def held(case: Case, count: int, first: int = 0) -> float:
    """Give the share of prints whose interval holds what was emitted, of those that tell one."""
    found = [one_print(first + n, case) for n in range(count)]
    known = [one for one in found if one is not None]
    return sum(known) / max(1, len(known))


if __name__ == "__main__":
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    for name, case in CASES.items():
        print(f"{name}: {100 * held(case, many):.1f} % of {many} prints held", flush=True)
