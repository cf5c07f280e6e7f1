"""Makes repeats of analysed prints: which figure, which labels, and what is left out."""

from collections.abc import Mapping, Sequence, Set
from datetime import datetime

from ventwright.contrasts.sample import CompareError, Sample
from ventwright.trials.figures import FIGURES, Figure, Print
from ventwright.trials.marking import BATCHES, condition

TITLES = {
    "per_gram": "emitted per gram",
    "per_hour": "emitted per hour",
    "per_printer": "emitted per printer",
    "total": "emitted in all",
    "rise": "rise",
    "mean_rise": "mean rise",
}


def usual_figure(prints: Sequence[Print]) -> str:
    """Choose what to compare: per gram where all grams are known, else per hour, else the rise."""
    for name in ("per_gram", "per_hour"):
        if prints and all(figure_of(p, name).value is not None for p in prints):
            return name
    return "rise" if not any(p.per_hour.value is not None for p in prints) else "per_hour"


def figure_of(made: Print, name: str) -> Figure:
    """Give a figure of a print by its name; raises CompareError."""
    if name not in FIGURES:
        raise CompareError(f'"{name}" is no figure of a print; {", ".join(FIGURES)} are')
    found: Figure = getattr(made, name)
    return found


def usual_labels(prints: Sequence[Print]) -> tuple[str, ...]:
    """Choose the labels that differ between prints and describe them."""
    left_out = {*BATCHES, "grams", "printers", "note"}
    names = sorted({name for made in prints for name in made.labels} - left_out)
    differ = [n for n in names if len({made.labels.get(n) for made in prints}) > 1]
    return tuple(differ or names)


def repeats(
    prints: Sequence[Print], figure: str, by: Sequence[str]
) -> tuple[list[Sample], dict[str, str]]:
    """Give the repeats, in time order, and the prints left out with the reasons.

    Raises CompareError where no print has one of the labels `by`.
    """
    _known(prints, by)
    samples: list[Sample] = []
    left_out: dict[str, str] = {}
    beside = {name for name in usual_labels(prints) if name not in by}
    for order, made in enumerate(sorted(prints, key=lambda p: p.begins)):
        found = figure_of(made, figure)
        if made.unusable or found.value is None:
            left_out[made.name] = made.unusable or found.why or "the figure is not known"
            continue
        below = found.below is not None
        value = found.below if found.below is not None else found.value
        name = condition(made.labels, by)
        samples.append(Sample(made.name, name, value, _batches(made, beside), order, below))
    return samples, left_out


def _known(prints: Sequence[Print], by: Sequence[str]) -> None:
    """Refuse a label that no print has: a slip of the pen would make all prints one condition."""
    there = sorted({name for made in prints for name in made.labels})
    if missing := [name for name in by if name not in there]:
        known = f"there is: {', '.join(there)}" if there else "none has any; `trial label` adds one"
        raise CompareError(f'no print has a label "{missing[0]}"; {known}')


def _batches(made: Print, beside: Set[str]) -> Mapping[str, str]:
    """Say in what a print was made: its day, what labels tell of batches, and other conditions."""
    day = datetime.fromtimestamp(made.begins / 1000).astimezone().strftime("%Y-%m-%d")
    told = {name: made.labels[name] for name in (*BATCHES, *sorted(beside)) if name in made.labels}
    return {"day": day, **told}
