"""Says a figure of a trial as a report does: value and range, "below", or why there is none."""

from ventwright.reporting.words import figure
from ventwright.trials.figures import Contrast, Figure

_DIGITS = 3
_LARGE = 99.95


def _said(value: float | None, unit: str = "") -> str:
    """Write a value to three digits, without zeros at its end."""
    if value is None or abs(value) >= _LARGE:
        return figure(None if value is None else float(f"{value:.{_DIGITS}g}"), unit)
    return f"{value:.{_DIGITS}g} {unit}".rstrip()


def told(one: Figure) -> str:
    """Write `40.3 µg`, `below 12 µg` or `not known`."""
    if one.below is not None:
        return f"below {_said(one.below, one.unit)}"
    return _said(one.value, one.unit)


def interval(one: Figure) -> str:
    """Write `25 to 70 µg with 95 %`, or why there is no interval; empty where nothing is known."""
    if one.below is not None:
        return one.why or "the part shows no less"
    if one.value is None or one.low is None or one.high is None:
        return one.why
    return f"{_said(one.low)} to {_said(one.high, one.unit)} with 95 %"


def whole(one: Figure) -> str:
    """Write value and range in one: `40.3 µg (25 to 70)`."""
    if one.known and one.low is not None and one.high is not None:
        return f"{told(one)} ({_said(one.low)} to {_said(one.high)})"
    return told(one)


def upright(one: Contrast, log: bool) -> tuple[str, Figure]:
    """Name two conditions with the higher one first, and give their ratio or difference so."""
    ratio = one.ratio
    if not log or ratio.value is None or ratio.value >= 1:
        return f"{one.one} : {one.other}", ratio
    turned = Figure(
        1 / ratio.value,
        ratio.unit,
        1 / ratio.high if ratio.high else None,
        1 / ratio.low if ratio.low else None,
        below=ratio.below,
        why=ratio.why,
    )
    return f"{one.other} : {one.one}", turned
