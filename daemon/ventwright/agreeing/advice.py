"""What follows from two parts side by side: nothing, nothing yet, or a calibration."""

from typing import NamedTuple

from ventwright.agreeing.fit import Fit, both_err_fit, least_squares, moments
from ventwright.agreeing.pairs import Pairs
from ventwright.settings.model import Calibration

FEWEST = 40
"""Pairs below which no line is drawn."""

_FOLLOWING = 0.9  # correlation below which noise is too large a share of what was seen
_VAGUE = 0.1  # share of the slope that its standard error may be
_ODD = 2.0


class Agreement(NamedTuple):
    """Two parts and one quantity."""

    pairs: Pairs
    correlation: float = 0.0
    both: Fit | None = None
    """OTHER over PART, errors in both alike."""
    ordinary: Fit | None = None
    """OTHER over PART, by ordinary least squares."""
    calibration: Calibration | None = None
    """What PART needs to read like OTHER, where that is known and worth while."""
    advice: str = ""


def agreement(pairs: Pairs, part: str, other: str) -> Agreement:
    """Fit the pairs of one quantity, and say in one sentence what to do."""
    xs, ys = pairs.part, pairs.other
    if len(xs) < FEWEST:
        few = f"only {len(xs)} pairs, {FEWEST} are needed: let both run side by side for hours"
        return Agreement(pairs, advice=few)
    found = moments(xs, ys)
    if found.correlation < _FOLLOWING:
        return Agreement(
            pairs,
            found.correlation,
            advice="the spread is too small to say anything, or it is not the same air: both "
            "must go up and down together; let them stand side by side through a print",
        )
    both = both_err_fit(xs, ys)
    fitted = Agreement(pairs, found.correlation, both, least_squares(xs, ys))
    return _advised(fitted, both, part, other)


def _advised(fitted: Agreement, both: Fit, part: str, other: str) -> Agreement:
    if both.slope_error > _VAGUE * both.line.slope:
        return fitted._replace(
            advice="the slope is still too vague: let both run longer, through more prints"
        )
    if _within_noise(fitted.pairs, both):
        return fitted._replace(advice="within noise: no correction is needed")
    calibration = Calibration(_rounded(both.line.offset), _rounded(both.line.slope))
    advice = (
        f"offset {calibration.offset:g} and slope {calibration.slope:g} make {part} read like "
        f"{other}"
    )
    if not 1 / _ODD <= calibration.slope <= _ODD:
        advice += "; parts seldom differ by so much: look at both of them first"
    return fitted._replace(calibration=calibration, advice=advice)


def _within_noise(pairs: Pairs, both: Fit) -> bool:
    """Tell whether a correction would move values, where they were, by less than they scatter."""
    for x in (min(pairs.part), max(pairs.part)):
        unsure = 2 * both.error_at(x)
        if abs(both.line.at(x) - x) > max(both.deviation, unsure):
            return False
    return True


def _rounded(value: float) -> float:
    """Keep four digits: parts are not known better."""
    return float(f"{value:.4g}")
