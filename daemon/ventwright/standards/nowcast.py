"""NowCast: what the last hours say of the particles now, as the US EPA computes it."""

from collections.abc import Sequence

HOURS = 12
"""Hourly means that count."""

_NEWEST = 3
_NEEDED = 2
_LEAST_WEIGHT = 0.5


def nowcast(hours: Sequence[float | None]) -> float | None:
    """Give the NowCast of PM2.5 or PM10, µg/m³, of hourly means, newest first; None: no mean.

    The twelve newest count. None if fewer than two of the three newest are there; an hour that
    is missing leaves the others' places as they are (confirmed at second hand). Not truncated:
    see aqi.truncated. Twelve hours without any particle give 0 (own decision: the formula says
    0/0).
    Source: EPA, "PM NowCast" (P100X0J6), and the AirNow technical forum, topic 172, for the
    current rule on missing hours: w = min/max, at least 0.5; sum of w^i c / sum of w^i.
    """
    known = [(age, mean) for age, mean in enumerate(hours[:HOURS]) if mean is not None]
    if sum(age < _NEWEST for age, _ in known) < _NEEDED:
        return None
    means = [mean for _, mean in known]
    if max(means) <= 0:
        return 0.0
    weight = max(min(means) / max(means), _LEAST_WEIGHT)
    weights = [weight**age for age, _ in known]
    return sum(w * m for w, m in zip(weights, means, strict=True)) / sum(weights)
