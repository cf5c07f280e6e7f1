"""Says how two parts agree, for people and for programs."""

from collections.abc import Iterator
from typing import Any

from ventwright.agreeing.advice import Agreement
from ventwright.agreeing.fit import Fit

NOTE = (
    "± is one standard error. Both parts err: the first line takes both to err alike, its errors "
    "allow for minutes that resemble their neighbours. Least squares takes all error to be in "
    "{other}, and its errors every minute for independent: they come out too small."
)
NO_TRUTH = "{other} is no standard: {part} is made to read like it, not to read right."


def lines(found: list[Agreement], part: str, other: str) -> Iterator[str]:
    """Write the agreement of two parts, a line each."""
    for one in found:
        yield from _quantity(one, part, other)
        yield ""
    if any(one.both for one in found):
        yield NOTE.format(other=other)
    if any(one.calibration for one in found):
        yield NO_TRUTH.format(part=part, other=other)


def _quantity(one: Agreement, part: str, other: str) -> Iterator[str]:
    quantity, xs, ys = one.pairs.quantity, one.pairs.part, one.pairs.other
    if not xs:
        yield f"{quantity.title}: nothing from both at the same time"
        return
    yield (
        f"{quantity.title} in {quantity.unit}, {len(xs)} pairs: {part} {min(xs):.4g} to "
        f"{max(xs):.4g}, {other} {min(ys):.4g} to {max(ys):.4g}, correlation {one.correlation:.3f}"
    )
    for title, fit in (("both err", one.both), ("least squares", one.ordinary)):
        if fit:
            yield f"  {title}: {_line(fit, part, other)}"
    yield f"  {one.advice}."


def _line(fit: Fit, part: str, other: str) -> str:
    return (
        f"{other} = {fit.line.offset:.4g} ± {fit.offset_error:.2g} + ({fit.line.slope:.4g} ± "
        f"{fit.slope_error:.2g}) x {part}; scatter {fit.deviation:.3g} (standard deviation)"
    )


def told(one: Agreement) -> dict[str, Any]:
    """Tell an agreement as plain JSON; numbers in the quantity's unit."""
    xs, ys = one.pairs.part, one.pairs.other
    return {
        "quantity": one.pairs.quantity.name,
        "unit": one.pairs.quantity.unit,
        "pairs": len(xs),
        "range of the part": [min(xs), max(xs)] if xs else None,
        "range of the other": [min(ys), max(ys)] if ys else None,
        "correlation": one.correlation,
        "both err": _fit_told(one.both),
        "least squares": _fit_told(one.ordinary),
        "calibration": vars(one.calibration) if one.calibration else None,
        "advice": one.advice,
    }


def _fit_told(fit: Fit | None) -> dict[str, float] | None:
    if fit is None:
        return None
    return {
        "offset": fit.line.offset,
        "offset standard error": fit.offset_error,
        "slope": fit.line.slope,
        "slope standard error": fit.slope_error,
        "residual standard deviation": fit.deviation,
    }
