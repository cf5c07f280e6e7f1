"""What was found of a test print, and of a comparison: plain data for words, files and pictures.

It knows no store, no statistics and no drawing. Times are Unix ms; a `Figure` carries its unit.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Figure:
    """A number with its unit and the interval that holds the true one with 95 % (stated range)."""

    value: float | None
    """The best estimate; None where nothing can be said, see `why`."""
    unit: str
    low: float | None = None
    high: float | None = None
    """Ends of the interval; None where it is not known."""
    standard: float | None = None
    """Standard uncertainty."""
    below: float | None = None
    """Set where the part's floor supports no more than "below so much"; `value` then stays as it
    was computed, for statistics, and is not to be shown."""
    why: str = ""
    """Why there is no value, or what the figure leans on."""

    @property
    def known(self) -> bool:
        """Whether it may be shown as a number with an interval."""
        return self.value is not None and self.below is None


@dataclass(frozen=True)
class Phase:
    """A phase of a test print: background, print or decay; Unix ms."""

    name: str
    begins: int
    ends: int


@dataclass(frozen=True)
class Point:
    """A mean of the curve: its time is `t` to `t + length`, both ms; None in a gap."""

    t: int
    length: int
    mean: float | None
    background: float | None = None
    """What the background phase leads one to expect at that time, the channel's unit."""


@dataclass(frozen=True)
class RatePoint:
    """The emission rate over `t` to `t + length` (ms), with its 95 % interval; `Print.rate_unit`.

    Negative ones are noise, and kept: leaving them out would push the mean up.
    """

    t: int
    length: int
    rate: float
    low: float
    high: float


@dataclass(frozen=True)
class Above:
    """How long print and decay stood above the value of a published limit.

    A minute above it does not exceed the limit, which holds over its own averaging time.
    """

    key: str
    """Of config/limits.toml."""
    says: str
    value: float
    """The limit in the channel's unit."""
    averaging: str
    minutes: int
    """How many minutes had a mean above the value."""
    highest: float | None
    """The highest mean over the averaging time, channel's unit; None where the record is shorter
    than that."""


@dataclass(frozen=True)
class Elsewhere:
    """What the same print would do in another room, well mixed."""

    volume: float
    """m³"""
    loss_rate: float
    """All losses together, 1/h."""
    peak: Figure
    """Rise at its highest, channel's unit."""
    mean: Figure
    """Mean rise while it prints, channel's unit."""


def _no_labels() -> dict[str, str]:
    return {}


@dataclass(frozen=True)
class Print:
    """One analysed test print."""

    name: str
    """Of the trial, as it was marked: `pla-closed-1`."""
    labels: Mapping[str, str]
    """Its condition in the owner's words: material, temperature, enclosure, filter, printer ..."""
    channel: str
    """`bench.pm2_5`"""
    title: str
    """`PM2.5`"""
    unit: str
    """Of the channel."""
    model: str
    """Part number."""
    optical: bool
    """Whether ultrafine particles are not seen."""
    room: str
    volume: float
    """m³"""
    phases: tuple[Phase, ...]
    curve: tuple[Point, ...]
    """Minute means over all phases."""
    coverage: float
    """Share of print and decay that good readings cover, 0 to 1."""
    floor: float
    """The smallest rise of a 5-minute mean that this part could show here, channel's unit."""
    start: Figure
    """Level when the print began."""
    rise: Figure
    """Largest 5-minute mean minus start, minus what the background did in the same time."""
    mean_rise: Figure
    """Mean of the print minus start, likewise."""
    loss_rate: Figure
    """1/h, all losses together; `why` tells where it is from."""
    fit: Mapping[str, float]
    """Of the decay: r2, points, amplitude; empty without one."""
    rates: tuple[RatePoint, ...]
    rate_unit: str
    """`µg/h` where the channel is µg/m³."""
    amount_unit: str
    """`µg`"""
    total: Figure
    """Emitted in all, amount_unit."""
    per_gram: Figure
    per_hour: Figure
    per_printer: Figure
    grams: float | None = None
    printers: int = 1
    above: tuple[Above, ...] = ()
    elsewhere: Elsewhere | None = None
    cautions: tuple[str, ...] = ()
    """Sentences that belong beside the figures."""
    unusable: str = ""
    """Why this print is left out of comparisons; empty where it counts."""

    @property
    def begins(self) -> int:
        """Where the first phase begins, Unix ms."""
        return self.phases[0].begins

    def phase(self, name: str) -> Phase | None:
        """Find a phase by its name."""
        return next((phase for phase in self.phases if phase.name == name), None)


FIGURES = ("per_gram", "per_hour", "per_printer", "total", "rise", "mean_rise")
"""The figures of a print that can be compared."""


@dataclass(frozen=True)
class Repeat:
    """One print in a comparison."""

    name: str
    value: float
    batch: str = ""
    """Day, spool or whatever the repeats were made in."""
    order: int = 0
    """Its place in time among all prints, from 0; as given where there is no time."""
    below: bool = False
    """Whether it stood below the floor, so that the value is an upper bound."""


@dataclass(frozen=True)
class Condition:
    """The repeats of one condition, and what they come to."""

    name: str
    repeats: tuple[Repeat, ...]
    middle: Figure
    """Geometric mean (arithmetic on the linear scale) with its 95 % interval."""
    spread: float | None
    """Geometric standard deviation (standard deviation on the linear scale); None for one print."""


@dataclass(frozen=True)
class Need:
    """How many prints a condition would need to show a ratio with 80 % power."""

    ratio: float
    repeats: int | None
    """None: more than a hundred."""


@dataclass(frozen=True)
class Contrast:
    """Two conditions compared: `one` over `other`."""

    one: str
    other: str
    ratio: Figure
    """Ratio of geometric means (difference of means on the linear scale); interval widened for
    all comparisons that were made at once where the method can."""
    t: float | None
    df: float | None
    p: float | None
    """As if this were the only comparison."""
    adjusted: float | None
    """After the correction for several comparisons."""
    differs: bool
    shown: float | None
    """The ratio that these prints would have shown in four cases of five."""
    power: Mapping[str, float]
    """Chance, by ratio, that these prints would have shown it: {"1.5": 0.31, ...}."""
    needs: tuple[Need, ...]
    verdict: str
    """The plain sentence."""


@dataclass(frozen=True)
class Variance:
    """Where the spread comes from: one-way analysis on the scale of the comparison."""

    f: float
    df_between: int
    df_within: int
    p: float
    ss_between: float
    ss_within: float
    between: float
    """Variance component between the groups (0 where it comes out negative)."""
    within: float
    """Variance component within them."""
    r2: float
    """Share of the sum of squares that the groups explain."""


@dataclass(frozen=True)
class Comparison:
    """Several conditions side by side."""

    figure: str
    """One of FIGURES, or the name of a column."""
    title: str
    """`emitted per gram, PM2.5`"""
    unit: str
    log: bool
    """Whether compared as ratios on the log scale."""
    by: tuple[str, ...]
    """The labels that make the conditions."""
    conditions: tuple[Condition, ...]
    contrasts: tuple[Contrast, ...]
    method: str
    """How several comparisons are corrected for: sidak, holm, tukey, dunnett or none."""
    reference: str | None = None
    """The condition that the others are compared with, if one was named."""
    confidence: float = 0.95
    spread: float | None = None
    """The pooled spread that power is worked out from; a GSD on the log scale."""
    spread_from: str = ""
    """Where it is from: these prints, or the literature."""
    variance: Variance | None = None
    batches: tuple[str, ...] = ()
    """Sentences on patterns of day, spool or order."""
    left_out: Mapping[str, str] = field(default_factory=_no_labels)
    """Prints that were not used, and why."""
    verdicts: tuple[str, ...] = ()
    """All that is to be said, in order: the verdict of each contrast, and the cautions."""
