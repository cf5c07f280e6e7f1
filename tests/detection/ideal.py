"""What could be reached: detectors that know what no detector in a room can know.

`likelihood` knows the background, the foreign sources, the part's bias, lag and noise exactly, and
sums the evidence for a print of any of eight strengths (Page's CUSUM of the log-likelihood ratio
of the very bins that the part shows). Its threshold ln(8·n) keeps false alarms below one in n
readings whatever happens (Lorden 1971: the mean time to one is at least e^threshold for each).

`threshold` knows the true level, without noise or lag, and what it would be without people and
weather's hours; but nobody told it who brings in the particles. So it shows the price of not
knowing a neighbour's frying pan from a printer.

`learnt` sees the true level too, but has to learn the background: it takes the cleanest minute of
the last half hour for it, and judges as the shipped alarm does, level and rise against background.
So it shows what that way of judging could do with a part that had no noise, lag and steps.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d
from scipy.special import log_ndtr

from detection.families import PartView

Array = NDArray[np.float64]
STRENGTHS = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
FOUR_WEEKS_S = 4 * 7 * 86_400
CLEARED = 0.7  # share of the threshold below which the second detector lets go
HELD_S = 120
SETPOINT, SHARE, AHEAD_MIN = 4.0, 1.2, 6.0
"""As in config/example.toml."""


def _log_bin(readings: Array, mean: Array, part: PartView) -> Array:
    """Give the log-probability that a part shows these readings of a mean level."""
    half, spread = part.resolution / 2, np.hypot(part.floor, part.share * mean)
    high = log_ndtr((readings + half - mean) / spread)
    low = log_ndtr((readings - half - mean) / spread)
    low = np.where(readings <= 0, -np.inf, low)
    flip = readings > mean  # in the upper tail the differences are taken from the other side
    high_up = log_ndtr(-(readings - half - mean) / spread)
    low_up = log_ndtr(-(readings + half - mean) / spread)
    high = np.where(flip & (readings > 0), high_up, high)
    low = np.where(flip & (readings > 0), low_up, low)
    with np.errstate(divide="ignore"):
        return np.asarray(high + np.log1p(-np.exp(np.minimum(low - high, -1e-12))))


def likelihood(readings: Array, expected: Array, part: PartView) -> int | None:
    """Give the number of readings after which a print is certain, or None."""
    mean = np.maximum(expected, 0.01)
    bound = np.log(len(STRENGTHS) * FOUR_WEEKS_S / part.period_s)
    null = _log_bin(readings, mean, part)
    found = []
    for strength in STRENGTHS:
        evidence = np.cumsum(_log_bin(readings, mean + strength * part.bias, part) - null)
        lowest = np.minimum.accumulate(np.minimum(evidence, 0.0))
        over = np.flatnonzero(evidence - lowest >= bound)
        found += [int(over[0]) + 1] if len(over) else []
    return min(found, default=None)


def learnt(level: Array, period_s: float) -> Array:
    """Give what the level will be over the learnt background if it goes on rising, in setpoints."""
    minute, half_hour = (max(1, round(span / period_s)) for span in (60, 1800))
    lowest = minimum_filter1d(level, half_hour, origin=(half_hour - 1) // 2)
    gain = np.zeros_like(level)
    gain[minute:] = np.maximum(0.0, level[minute:] - level[:-minute])
    return np.asarray((level - lowest + AHEAD_MIN * gain) / (SETPOINT + SHARE * lowest))


def spans(excess: Array, threshold: float, period_s: float) -> list[tuple[int, int]]:
    """Find when a detector on the true excess is on: from the first to the last reading over it."""
    over = np.flatnonzero(excess >= threshold)
    low = np.concatenate([[0], np.cumsum(excess < CLEARED * threshold)])
    found: list[tuple[int, int]] = []
    for place in over.tolist():
        apart = HELD_S / period_s
        if found and low[place] - low[found[-1][1]] < apart:
            found[-1] = (found[-1][0], place)
        else:
            found.append((place, place))
    return found
