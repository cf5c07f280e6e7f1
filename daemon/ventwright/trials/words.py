"""Says trials and the figures of one print in lines that people read."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from ventwright.contrasts.words import figure_words
from ventwright.trials.cautions import NO_EXCEEDING
from ventwright.trials.figures import Print
from ventwright.trials.marking import Trial

_WIDE = 16
_MINUTE_MS = 60_000


def clock(t: int) -> str:
    """Write a time (Unix ms), local, to the minute."""
    return datetime.fromtimestamp(t / 1000).astimezone().strftime("%Y-%m-%d %H:%M")


def list_lines(trials: Sequence[Trial]) -> Iterator[str]:
    """List trials, one a line."""
    if not trials:
        yield "There are no trials yet; `ventwright trial guide` makes one."
    wide = max((len(trial.name) for trial in trials), default=0)
    for trial in trials:
        when = clock(min(trial.marks.values())) if trial.marks else "never"
        labels = ", ".join(f"{name}={value}" for name, value in trial.labels.items())
        state = f"{trial.state}, in its {trial.phase}" if trial.state == "open" else trial.state
        why = f": {trial.discarded}" if trial.discarded else ""
        yield f"{trial.name:<{wide}}  {when}  {state}{why}  {labels}".rstrip()


def print_lines(made: Print) -> Iterator[str]:
    """Write all figures of a print."""
    labels = ", ".join(f"{name} {value}" for name, value in made.labels.items())
    yield f"{made.name}: {labels}" if labels else made.name
    lengths = [f"{p.name} {(p.ends - p.begins) / _MINUTE_MS:.0f} min" for p in made.phases]
    yield f"{made.channel} ({made.model}), from {clock(made.begins)}: {', '.join(lengths)}"
    if made.unusable:
        yield f"NOT USED: {made.unusable}."
    yield ""
    rows = {
        "start": made.start,
        "rise": made.rise,
        "mean rise": made.mean_rise,
        "loss rate": made.loss_rate,
        "emitted in all": made.total,
        "per gram": made.per_gram,
        "per hour": made.per_hour,
    }
    if made.printers > 1:
        rows["per printer"] = made.per_printer
    for name, figure in rows.items():
        source = f", {_source(figure.why)}" if name == "loss rate" and figure.value else ""
        yield f"  {name:<{_WIDE}}{figure_words(figure)}{source}"
    yield from _limits(made)
    yield from _elsewhere(made)
    yield ""
    yield from made.cautions


def _source(why: str) -> str:
    return why if why.startswith("given") else f"from {why}"


def _limits(made: Print) -> Iterator[str]:
    """Tell how long it stood above the values of limits, the lowest first."""
    over = [found for found in made.above if found.minutes]
    for found in over:
        yield f"  above {found.value:g} {made.unit} for {found.minutes} min ({found.says})"
    if over:
        yield ""
        yield NO_EXCEEDING


def _elsewhere(made: Print) -> Iterator[str]:
    if made.elsewhere is None:
        return
    other = made.elsewhere
    yield ""
    yield (
        f"The same print in a room of {other.volume:g} m³ that loses {other.loss_rate:g} /h, well "
        f"mixed: rise up to {figure_words(other.peak)}, {figure_words(other.mean)} on average."
    )
