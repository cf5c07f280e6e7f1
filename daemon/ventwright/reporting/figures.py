"""Says a figure of a trial as a report does: value and range, "below", or why there is none."""

from ventwright.reporting.words import figure
from ventwright.trials.figures import Figure


def told(one: Figure) -> str:
    """Write `40 µg`, `below 12 µg` or `not known`."""
    if one.below is not None:
        return figure(one.below, one.unit).join(("below ", ""))
    return figure(one.value, one.unit)


def interval(one: Figure) -> str:
    """Write `25 to 70 µg with 95 %`, or why there is no interval; empty where nothing is known."""
    if one.below is not None:
        return one.why or "the part shows no less"
    if one.value is None or one.low is None or one.high is None:
        return one.why
    return f"{figure(one.low)} to {figure(one.high, one.unit)} with 95 %"


def whole(one: Figure) -> str:
    """Write value and range in one: `40 µg (25 to 70)`."""
    if one.known and one.low is not None and one.high is not None:
        return f"{told(one)} ({figure(one.low)} to {figure(one.high)})"
    return told(one)
