"""Occupational averages and sums: 8-hour shift, short-term exposure, ceiling, mixtures.

Limits at work are for healthy adults, never for homes and schools. All of them may be reached and
must not be exceeded: use `exceeds`.
"""

from collections.abc import Iterable

SHIFT_HOURS = 8
"""Hours by which a shift is divided, however long it was."""

SHORT_TERM_MINUTES = 15
"""Averaging time of a short-term exposure limit (STEL), and of a ceiling where the instantaneous
value cannot be read. Sources: 29 CFR 1910.1048(c)(2) for formaldehyde; 1910.1000(a)(1)."""


def shift_average(exposures: Iterable[tuple[float, float]]) -> float:
    """Give the 8-hour time-weighted average of (concentration, hours) pairs, in their unit.

    E = (Ca Ta + Cb Tb + ... + Cn Tn) / 8: the divisor is 8 even where the hours are not (own
    reading of the formula), so time that is not listed counts as time without exposure.
    Raises ValueError for negative hours. Source: 29 CFR 1910.1000(d)(1)(i).
    """
    total = 0.0
    for concentration, hours in exposures:
        if hours < 0:
            raise ValueError(f"{hours:g} h is no time")
        total += concentration * hours
    return total / SHIFT_HOURS


def mixture(parts: Iterable[tuple[float, float]]) -> float:
    """Give the equivalent exposure of (concentration, limit) pairs; above 1 it is too much.

    Em = C1/L1 + ... + Cn/Ln, each pair in a unit of its own. Raises ValueError for a limit that
    is not above 0. Source: 29 CFR 1910.1000(d)(2)(i).
    """
    total = 0.0
    for concentration, limit in parts:
        if limit <= 0:
            raise ValueError(f"{limit:g} is no limit")
        total += concentration / limit
    return total


def exceeds(value: float, limit: float) -> bool:
    """Tell whether a value is more than a limit of the same unit; reaching it is allowed.

    Sources: "shall not exceed", 29 CFR 1910.1000(a)(1) and (a)(2).
    """
    return value > limit
