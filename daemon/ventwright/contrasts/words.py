"""Says a comparison in lines that people read."""

from collections.abc import Iterator

from ventwright.contrasts.verdicts import prints
from ventwright.trials.figures import Comparison, Condition, Figure

METHODS = {
    "sidak": "Šidák's correction for several comparisons, intervals included",
    "holm": "Holm's correction for several comparisons; each interval by itself",
    "tukey": "Tukey's correction for several comparisons, intervals included",
    "dunnett": "Dunnett's correction for several comparisons, intervals included",
    "none": "no correction for several comparisons",
}


def lines(comparison: Comparison) -> Iterator[str]:
    """Write it: conditions, verdicts, patterns, how it was worked out."""
    unit = f", {comparison.unit}" if comparison.unit else ""
    yield f"{comparison.title}{unit}, by {', '.join(comparison.by)}"
    yield ""
    wide = max(len(c.name) for c in comparison.conditions)
    for condition in comparison.conditions:
        yield f"  {condition.name:<{wide}}  {_condition(condition, comparison.log)}"
    yield ""
    yield from comparison.verdicts
    for name, why in comparison.left_out.items():
        yield f"{name} is left out: {why}."
    yield ""
    yield from _notes(comparison)


def _condition(condition: Condition, log: bool) -> str:
    figure, spread = condition.middle, condition.spread
    said = f"{_number(figure.value):>8}"
    if figure.low is not None and figure.high is not None:
        said += f"  (95 %: {_number(figure.low)} to {_number(figure.high)})"
    said += f"  {prints(len(condition.repeats))}"
    if spread is not None:
        said += f", spread {'a factor of ' if log else ''}{spread:.3g}"
    below = sum(repeat.below for repeat in condition.repeats)
    return said + (f", {below} of them below what the part can show" if below else "")


def _number(value: float | None) -> str:
    return "?" if value is None else f"{value:.3g}" if abs(value) < 1000 else f"{value:,.0f}"


def how(comparison: Comparison) -> str:
    """Say by what test and on what scale it was compared, and how several were allowed for."""
    scale = "as ratios, on the log scale" if comparison.log else "as differences"
    joint = comparison.method in ("tukey", "dunnett")
    pooled, own = (
        "the spread pooled over all conditions",
        "Welch's test, each pair by its own spread",
    )
    test = pooled if joint else own
    many = f"; {METHODS[comparison.method]}" if len(comparison.contrasts) > 1 else ""
    return f"Compared {scale}, print by print ({test}){many}."


def _notes(comparison: Comparison) -> Iterator[str]:
    yield how(comparison)
    if comparison.spread is not None:
        size = f"a factor of {comparison.spread:.3g}" if comparison.log else comparison.spread
        yield f"What could have shown is from a spread of {size} ({comparison.spread_from})."


def figure_words(figure: Figure) -> str:
    """Say a figure with its unit and interval, or why there is none."""
    if figure.value is None:
        return f"unknown: {figure.why}" if figure.why else "unknown"
    if figure.below is not None:
        return f"below {_number(figure.below)} {figure.unit}"
    ends = ""
    if figure.low is not None and figure.high is not None:
        ends = f" (95 %: {_number(figure.low)} to {_number(figure.high)})"
    return f"{_number(figure.value)} {figure.unit}{ends}"
