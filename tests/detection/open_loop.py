"""Plays a room whose fan moves no air: the same readings at once, and the real alarms alone.

Nothing decided changes the air, so the air can be worked out first, by the same equations as
record.py; the readings then go to the real channel and alarms without the rest of the core. It
gives the core's decisions (test_detection.py holds that) in a fifth of the time, but one: no source
is tracked here, so no alarm settles above its deadband, and some stand longer than they would.
"""

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from detection.record import PART, Change, Played
from detection.rooms import PENETRATION, Room
from ventwright.alarms.alarm import Alarm
from ventwright.means.channel import Channel
from ventwright.settings.model import Settings
from ventwright_drivers.quantities import QUANTITIES

Array = NDArray[np.float64]
WARM_MS = 10_000


class Air(NamedTuple):
    """True levels of a room, µg/m³: without people and prints, without prints, by each print."""

    bare: Array
    quiet: Array
    prints: list[Array]


def _first_order(gain: Array, rate: Array, start: float, hours: float) -> Array:
    """Follow dC/dt = gain - rate·C from `start`; the rate (1/h) is constant for long stretches."""
    out, level = np.empty_like(gain), start
    edges = [0, *(np.flatnonzero(np.diff(rate)) + 1).tolist(), len(gain)]
    for first, last in pairwise(edges):
        kept = math.exp(-rate[first] * hours)
        share = [(1 - kept) / rate[first]]
        out[first:last], _ = lfilter(share, [1, -kept], gain[first:last], zi=[kept * level])
        level = out[last - 1]
    return out


def air_of(room: Room) -> Air:
    """Work out the true levels."""
    hours, around = room.part.period_s / 3600, room.around
    alone = np.full_like(room.t, room.loss)
    start = PENETRATION * float(around.outdoor[0]) * room.leakage / room.loss
    through = PENETRATION * room.leakage
    bare = _first_order(through * around.outdoor, alone, start, hours)
    gain = (through + around.doors) * around.outdoor + around.sources
    quiet = _first_order(gain, alone + around.doors, start, hours)
    begins = [0, *(int(np.searchsorted(room.t, one.begins)) for one in room.prints), len(room.t)]
    prints = []
    for first, last in pairwise(begins):
        emitted = np.zeros_like(room.t)
        emitted[first:last] = room.emitted[first:last]
        prints.append(_first_order(emitted, alone + around.doors, 0.0, hours))
    return Air(bare, quiet, prints)


def _seen(level: Array, room: Room, start: float = 0.0) -> Array:
    """Give what a slow part shows of a level that it reads too high or low."""
    catch = -math.expm1(-room.part.period_s / room.part.lag_s)
    shown = level * room.around.damp * room.part.bias
    return np.asarray(lfilter([catch], [1, catch - 1], shown, zi=[(1 - catch) * start])[0])


def play_open(room: Room, settings: Settings) -> Played:
    """Play a room through the alarms of its PM2.5 channel."""
    air, part = air_of(room), room.part
    quiet = _seen(air.quiet, room, float(air.bare[0]) * part.bias)
    shown = [_seen(level, room) for level in air.prints]
    seen = quiet + sum(shown)
    raw = np.maximum(0, seen + room.wander + np.hypot(part.floor, part.share * seen) * room.dice)
    readings = np.round(raw / part.resolution) * part.resolution
    changes, base, sigma = _judged(room, settings, readings)
    newest = np.zeros_like(quiet)
    begins = [0, *(int(np.searchsorted(room.t, one.begins)) for one in room.prints), len(room.t)]
    for level, (first, last) in zip(shown, pairwise(begins), strict=True):
        newest[first:last] = level[first:last]
    level = air.quiet + sum(air.prints)
    expected = seen - newest + room.wander
    return Played(
        readings, expected, level, air.bare, quiet + room.wander, base, sigma, changes, []
    )


def _judged(room: Room, settings: Settings, readings: Array) -> tuple[list[Change], Array, Array]:
    quantity = QUANTITIES["pm2_5"]
    channel = Channel(f"{PART}.pm2_5", quantity, round(room.part.period_s * 1000))
    alarms = [Alarm(name, entry, channel) for name, entry in settings.alarms.items()]
    changes: list[Change] = []
    base, sigma = (np.full(len(readings), np.nan) for _ in range(2))

    def look(t: int) -> None:
        for alarm in alarms:
            told = alarm.evaluate(t)
            changes.extend(Change(alarm.name, t / 1000, c, alarm.value or 0.0) for c in told)

    times = np.round((np.arange(len(readings)) + 1) * room.part.period_s * 1000)
    steps = np.round(readings * quantity.per_unit).astype(int).tolist()
    for n, (t, step) in enumerate(zip(times.astype(int).tolist(), steps, strict=True)):
        if t < WARM_MS:
            continue
        while (due := min((a.due for a in alarms if a.due is not None), default=t)) < t:
            look(due)
        channel.add(t, step)
        look(t)
        if n % 100 == 0 and channel.base is not None:
            base[n : n + 100], sigma[n : n + 100] = channel.base, channel.base_sigma
    return changes, base, sigma
