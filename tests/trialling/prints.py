"""Test prints in simulated rooms: true emission known, readings as a low-cost part gives them.

The room is well mixed. The part lags, its noise is partly shared by neighbours and grows with the
level, it tells whole µg/m³ and never less than 0. Volume and start are not quite what is stated.
All figures are ours, chosen before any result was seen.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.signal import lfilter

from ventwright.settings.model import PartEntry
from ventwright.trials.balance import HOMES, Rate, balance
from ventwright.trials.figures import Print
from ventwright.trials.marking import Trial
from ventwright.trials.printing import Known, figures
from ventwright.trials.series import Minute, Series, Span
from ventwright_drivers.quantities import QUANTITIES

STEP_S = 2.0
MINUTE_READINGS = 30
START = 1_790_000_000_000
_DRIVER = "ventwright_drivers.serial.pms:Pms5003"


@dataclass(frozen=True)
class Room:
    """What is true of a room; µg, m³, 1/h."""

    volume: float = 45.0
    loss_rate: float = 0.9
    level: float = 4.0


@dataclass(frozen=True)
class Part:
    """How a part sees it."""

    lag_s: float = 10.0
    share: float = 0.03
    floor: float = 0.3
    correlated_s: float = 60.0
    step: float = 1.0


@dataclass(frozen=True)
class Job:
    """A print: how much it emits in all (µg), how long each phase lasts (min), its shape."""

    emitted: float
    background: int = 20
    prints: int = 60
    decay: int = 60
    burst: float = 0.4
    lead: float = 0.0
    grams: float = 20.0
    printers: int = 1


def levels(room: Room, job: Job) -> "np.ndarray[Any, Any]":
    """Give the true level every two seconds, exactly, by the closed form of each step."""
    count = int((job.background + job.prints + job.decay) * 60 / STEP_S)
    minutes = np.arange(count) * STEP_S / 60 - job.background
    rate = np.zeros(count)
    early = (minutes >= 1) & (minutes < 4)
    late = (minutes >= 4) & (minutes < job.prints)
    for which, share in ((early, job.burst), (late, 1 - job.burst)):
        rate[which] = share * job.emitted / (which.sum() * STEP_S / 3600)
    kept = np.exp(-room.loss_rate * STEP_S / 3600)
    steady = rate / room.volume / room.loss_rate
    rise, _ = lfilter([1 - kept], [1, -kept], steady, zi=[kept * job.lead])
    return np.asarray(room.level + rise)


def seen(
    true: "np.ndarray[Any, Any]", part: Part, dice: np.random.Generator
) -> "np.ndarray[Any, Any]":
    """Give the readings of a part in that air."""
    share = np.exp(-STEP_S / part.lag_s)
    late, _ = lfilter([1 - share], [1, -share], true, zi=[share * true[0]])
    kept = np.exp(-STEP_S / part.correlated_s)
    own = dice.standard_normal(len(true)) * np.sqrt(1 - kept**2)
    own[0] = dice.standard_normal()
    noise = np.sqrt(0.5) * (lfilter([1], [1, -kept], own) + dice.standard_normal(len(true)))
    values = late + noise * (part.floor + part.share * late)
    return np.maximum(0.0, np.round(values / part.step) * part.step)


def series(room: Room, job: Job, part: Part, dice: np.random.Generator) -> Series:
    """Give the minute means of a print as they are taken from a store."""
    readings = seen(levels(room, job), part, dice)
    means = readings.reshape(-1, MINUTE_READINGS).mean(axis=1)
    minutes = [Minute(n / 60, (n + 1) / 60, float(mean)) for n, mean in enumerate(means)]
    first, second = job.background / 60, (job.background + job.prints) / 60
    spans = Span(0, first), Span(first, second), Span(second, second + job.decay / 60)
    return Series(minutes, *spans, part.step)


def analysed(
    found: Series,
    job: Job,
    stated_volume: float,
    volume_error: float = 0.05,
    known: dict[bool, Rate] | None = None,
    last: Rate | None = HOMES,
    other_room: tuple[float, float] | None = None,
    **labels: str,
) -> Print:
    """Analyse a print as the command does once it has read the store."""
    spans = (found.background, found.print, found.decay)
    marks = {
        name: START + round(span.begins * 3_600_000)
        for name, span in zip(("background", "print", "decay"), spans, strict=True)
    }
    marks["end"] = START + round(found.decay.ends * 3_600_000)
    about = {"grams": f"{job.grams:g}", "printers": str(job.printers), **labels}
    trial = Trial("print", about, marks)
    part = PartEntry("pms5003", _DRIVER, None, ("pm2_5",))
    quantity = QUANTITIES["pm2_5"]
    room = ("room", stated_volume, volume_error, 1.0, 2.0, other_room)
    facts = Known(trial, "bench.pm2_5", quantity, part, *room)
    try:
        return figures(found, balance(found, 2.0, known or {}, True, last), "", facts)
    except ValueError as error:
        return figures(found, None, str(error), facts)
