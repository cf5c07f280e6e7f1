"""Says in plain sentences what a comparison of two conditions came to, and what it did not."""

from collections.abc import Sequence
from typing import NamedTuple

from ventwright.trials.figures import Figure, Need

_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
ASKED = 1.5
"""The ratio for which the repeats that it would take are told."""

LIKELY = "in four cases of five"


class Names(NamedTuple):
    """Two conditions by name, and how their prints stand."""

    one: str
    other: str
    n: int
    m: int
    higher_below: bool
    """Whether a print of the higher condition stood below the floor."""
    lower_below: bool
    title: str
    unit: str
    comparisons: int

    @property
    def testable(self) -> bool:
        """Whether a difference could be told at all."""
        return min(self.n, self.m) > 1 and not self.higher_below

    @property
    def bounded(self) -> bool:
        """Whether the ratio is a bound."""
        return self.higher_below or self.lower_below


def number(n: int) -> str:
    """Write a small number as a word."""
    return _WORDS[n] if n < len(_WORDS) else str(n)


def prints(n: int) -> str:
    """Say how many prints."""
    return f"{number(n)} print{'' if n == 1 else 's'}"


def chance(p: float | None) -> str:
    """Write a chance as people read it: none smaller than one in a thousand."""
    if p is None:
        return "p unknown"
    return "p below 0.001" if p < 0.001 else f"p = {p:.2g}"


def factor(value: float) -> str:
    """Write a ratio to two or three figures."""
    return f"{value:.3g}" if value < 1000 else "more than a thousand"


class Finding(NamedTuple):
    """What was found of two conditions."""

    names: Names
    ratio: Figure
    alone: float | None
    adjusted: float | None
    differs: bool
    found: float | None
    """The ratio or difference that would have shown."""
    needs: Sequence[Need]
    log: bool


def verdict(finding: Finding) -> str:
    """Say it: a difference, none that could be shown, or that nothing can be concluded."""
    names = finding.names
    if names.n < 2 or names.m < 2:
        return _too_few(names, finding.needs)
    if names.higher_below:
        return (
            f"{_pair(names)}: some prints of the higher one are below what the part can show, so "
            "nothing can be concluded from their difference."
        )
    if finding.adjusted is None:
        return f"{_pair(names)}: the repeats do not spread at all, so nothing can be tested."
    return _difference(finding) if finding.differs else _none(finding)


def _pair(names: Names) -> str:
    return f"{names.one} and {names.other}"


def _too_few(names: Names, needs: Sequence[Need]) -> str:
    counted = f"{prints(names.n)} of each" if names.n == names.m else ""
    counted = counted or f"{prints(names.n)} of one and {prints(names.m)} of the other"
    return (
        f"{_pair(names)}: nothing can be concluded from {counted}; one print says nothing of how "
        f"the next would come out. {_need(needs)}".rstrip()
    )


def _need(needs: Sequence[Need]) -> str:
    need = next((need for need in needs if need.ratio == ASKED), None)
    if need is None:
        return ""
    if need.repeats is None:
        return f"No feasible number of prints would show a factor of {ASKED:g}."
    return f"A factor of {ASKED:g} takes {prints(need.repeats)} of each to show {LIKELY}."


def _difference(finding: Finding) -> str:
    said, ends = _ratio(finding) if finding.log else _distance(finding)
    between = ""
    if ends[0] is not None and ends[1] is not None:
        between = f"95 %: {ends[0]:.3g} to {ends[1]:.3g}; "
    return f"{said} in {finding.names.title} ({between}{chance(finding.adjusted)})."


Ends = tuple[float | None, float | None]


def _ratio(finding: Finding) -> tuple[str, Ends]:
    """Say a ratio, the higher condition first."""
    names, ratio = finding.names, finding.ratio
    value, ends = ratio.value or 0.0, (ratio.low, ratio.high)
    high, low = names.one, names.other
    if value < 1:
        high, low = low, high
        value, ends = _over(value) or 0.0, (_over(ratio.high), _over(ratio.low))
    least = "at least " if names.bounded else ""
    return f"{high} is {least}{factor(value)} times {low}", ends


def _distance(finding: Finding) -> tuple[str, Ends]:
    names, ratio = finding.names, finding.ratio
    value = ratio.value or 0.0
    way = "above" if value > 0 else "below"
    unit = f" {ratio.unit}" if ratio.unit else ""
    said = f"{names.one} is {abs(value):.3g}{unit} {way} {names.other}"
    return said, (ratio.low, ratio.high)


def _over(value: float | None) -> float | None:
    return 1 / value if value else None


def _none(finding: Finding) -> str:
    names, found = finding.names, finding.found
    said = f"{_pair(names)}: no difference that these {prints(names.n + names.m)} could show"
    if found is not None:
        size = f"a factor of {factor(found)}" if finding.log else f"{found:.3g} {names.unit}"
        said += f"; {size.strip()} would have shown {LIKELY}"
    said += f" ({chance(finding.adjusted)}). That is no proof that they are equal."
    if names.comparisons > 1 and finding.alone is not None and finding.alone < 0.05:
        said += (
            f" Taken alone it would count as a difference; among {number(names.comparisons)} "
            "comparisons one such is no surprise."
        )
    if found is not None and found > ASKED and finding.log:
        said += f" {_need(finding.needs)}"
    return said
