"""Makes the figures of test prints from what the store holds; may be done again at any time.

Nothing here writes: marks and readings stay as they were recorded.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ventwright.settings.model import Settings
from ventwright.storage.reader import Reader
from ventwright.trials.balance import HOMES, Balance, Rate, balance
from ventwright.trials.figures import Print
from ventwright.trials.marking import Trial, read_trials
from ventwright.trials.printing import Known, figures
from ventwright.trials.record import Extraction, extraction, recorded
from ventwright.trials.series import Minute, Series, Span
from ventwright_drivers.quantities import QUANTITIES
from ventwright_drivers.registry import load

HOUR_MS = 3_600_000
_LEAST_COVERAGE = 0.75


class TrialError(ValueError):
    """A trial that is not there or cannot be analysed; the text is one clear sentence."""


@dataclass(frozen=True)
class Wishes:
    """What the owner says to an analysis beyond the configuration."""

    channel: str | None = None
    loss_rate: float | None = None
    """1/h with extraction off, instead of the print's own decay."""
    loss_rate_error: float = 0.0
    volume: float | None = None
    volume_error: float | None = None
    other_room: tuple[float, float] | None = None
    """Volume (m³) and loss rate (1/h) of a room to which the print is scaled."""


def analysed(reader: Reader, settings: Settings, wishes: Wishes = Wishes()) -> list[Print]:
    """Analyse every whole trial, oldest first, discarded and open ones left out.

    Prints whose own decay tells no loss rate take the one of the others in that room, if two or
    more agree. Raises sqlite3.Error.
    """
    trials = [t for t in read_trials(reader).values() if not t.unusable]
    return analyse(reader, settings, sorted(trials, key=lambda t: t.marks["print"]), wishes)


def analyse(
    reader: Reader, settings: Settings, trials: Sequence[Trial], wishes: Wishes
) -> list[Print]:
    """Analyse these trials, in this order; raises sqlite3.Error, TrialError for a wrong channel."""
    ran = extraction(reader)
    first = _commissioned(reader, wishes)
    found = [_one(reader, settings, trial, ran, wishes, first) for trial in trials]
    shared = {**_shared(b for _, b in found), **first}
    return [
        again(reader, settings, trial, ran, wishes, shared) if shared and _lacking(b) else made
        for (made, b), trial in zip(found, trials, strict=True)
    ]


def _lacking(found: Balance | None) -> bool:
    """Tell whether a print has no loss rate of this room."""
    return found is None or HOMES in found.rates.values()


def again(
    reader: Reader,
    settings: Settings,
    trial: Trial,
    ran: Extraction,
    wishes: Wishes,
    known: Mapping[bool, Rate],
) -> Print:
    """Analyse a trial with loss rates from elsewhere."""
    return _one(reader, settings, trial, ran, wishes, known)[0]


def _commissioned(reader: Reader, wishes: Wishes) -> dict[bool, Rate]:
    """Take the loss rates that are known before: given by hand, or from commissioning."""
    found: dict[bool, Rate] = {}
    event = reader.last_event("commissioned")
    if event is not None:
        for extracting, name in ((False, "natural"), (True, "clearance")):
            rate, error = event.body.get(name), event.body.get(f"{name}_error")
            if rate:
                error = float(error or 0.0)
                found[extracting] = Rate(float(rate), error, 1.96 * error, "commissioning")
    if wishes.loss_rate is not None:
        error = wishes.loss_rate_error
        found[False] = Rate(wishes.loss_rate, error, 1.96 * error, "given by hand")
    return found


def _shared(balances: Iterable[Balance | None]) -> dict[bool, Rate]:
    """Give the loss rate that the decays of two prints or more agree on, by extraction."""
    rates: dict[bool, list[Rate]] = {}
    for found in balances:
        for extracting, rate in (found.rates if found else {}).items():
            if found is not None and found.decay is not None and rate.source == "its own decay":
                rates.setdefault(extracting, []).append(rate)
    return {key: _mean_rate(values) for key, values in rates.items() if len(values) > 1}


def _mean_rate(rates: Sequence[Rate]) -> Rate:
    """Average; the error is that of one decay, for what one gets wrong others may get wrong too."""
    count = len(rates)
    middle = math.fsum(rate.value for rate in rates) / count
    apart = math.fsum((rate.value - middle) ** 2 for rate in rates) / (count - 1)
    own = math.fsum(rate.error for rate in rates) / count
    error = math.hypot(math.sqrt(apart), own)
    return Rate(middle, error, 1.96 * error, f"the decays of {count} other prints")


def _one(
    reader: Reader,
    settings: Settings,
    trial: Trial,
    ran: Extraction,
    wishes: Wishes,
    known: Mapping[bool, Rate],
) -> tuple[Print, Balance | None]:
    channel = channel_of(settings, trial, wishes)
    span = (trial.marks["background"], trial.marks["end"])
    found = recorded(reader, settings, channel, trial.marks["print"], span)
    series = _series(trial, found.minutes, found.step, ran)
    about = _known(settings, trial, channel, wishes, found.coverage)
    made, why = None, _too_little(series)
    if not why:
        try:
            own = wishes.loss_rate is None
            made = balance(series, about.within, known, own, last_resort(about))
        except ValueError as error:
            why = str(error)
    return figures(series, made, why, about), made


def channel_of(settings: Settings, trial: Trial, wishes: Wishes) -> str:
    """Choose the channel: as asked, as marked, or the first of fine particles."""
    there = [f"{name}.{q}" for name, part in settings.parts.items() for q in part.quantities]
    chosen = wishes.channel or trial.channel or _usual(there)
    if chosen not in there:
        raise TrialError(f'there is no channel "{chosen}"; there is: {", ".join(there)}')
    if QUANTITIES[chosen.partition(".")[2]].raw:
        raise TrialError(f"{chosen} is a raw signal and no concentration: nothing can be summed")
    return chosen


def _usual(there: Sequence[str]) -> str:
    return next((name for name in there if name.endswith(".pm2_5")), there[0])


def _series(
    trial: Trial, minutes: Sequence[tuple[int, float]], step: float, ran: Extraction
) -> Series:
    start = trial.marks["background"]

    def hours(t: int) -> float:
        return (t - start) / HOUR_MS

    taken = [Minute(hours(t), hours(t + 60_000), mean, ran.at(t + 30_000)) for t, mean in minutes]
    spans = {p.name: Span(hours(p.begins), hours(p.ends)) for p in trial.phases}
    return Series(taken, spans["background"], spans["print"], spans["decay"], step)


def _too_little(series: Series) -> str:
    for name, span in (("background", series.background), ("print", series.print)):
        share = series.coverage(span)
        if share < _LEAST_COVERAGE:
            return f"good readings cover only {100 * share:.0f} % of the {name}"
    return ""


def _known(
    settings: Settings, trial: Trial, channel: str, wishes: Wishes, coverage: float
) -> Known:
    part, _, name = channel.partition(".")
    quantity = QUANTITIES[name]
    error = wishes.volume_error
    if error is None:
        error = settings.room.volume_error
    return Known(
        trial,
        channel,
        quantity,
        settings.parts[part],
        settings.room.name,
        wishes.volume or settings.room.volume,
        error,
        coverage,
        trial.within if trial.within is not None else _usual_distance(quantity.unit),
        wishes.other_room,
    )


def last_resort(about: Known) -> Rate | None:
    """Give the loss rate that is taken where nothing tells one: of particles in homes."""
    return HOMES if load(about.part.driver).optical_mass else None


def _usual_distance(unit: str) -> float:
    """Give how far from its own level the air is taken to begin, where nobody said."""
    return 2.0 if unit == "µg/m³" else 0.0
