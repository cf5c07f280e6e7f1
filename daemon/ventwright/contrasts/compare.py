"""Puts a comparison together: conditions, contrasts, tests, power and what to say of them."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations

from ventwright.contrasts.allowing import allowed_for, sentence
from ventwright.contrasts.anova import even_spreads, one_way
from ventwright.contrasts.batches import patterns, together
from ventwright.contrasts.own_spreads import Own, own_power, own_shown, two_against_more
from ventwright.contrasts.power import pooled_power, shown, whole_repeats
from ventwright.contrasts.sample import CompareError, Sample, grouped, scaled
from ventwright.contrasts.several import (
    METHODS,
    Joint,
    Pool,
    chosen,
    dunnett,
    holm,
    sidak,
    sidak_share,
    tukey,
)
from ventwright.contrasts.verdicts import Finding, Names, verdict
from ventwright.contrasts.welch import Test, Value, mean, variance, welch
from ventwright.standards.distributions import t_quantile
from ventwright.trials.figures import Comparison, Condition, Contrast, Figure, Need, Repeat

LITERATURE = 1.5
"""Geometric spread of repeats where too few are there to tell one's own: the middle of 1.4 to 1.7,
the only replicated printing study found (resin printing, five repeats: emissions.md section 6)."""

OWN_DF = 4
"""So many degrees of freedom make one's own spread worth more than the literature's."""

UNEVEN = 0.1
"""Below this chance spreads are told to be unequal; few repeats show it late, so it is not 0.05."""

_UNEVEN = (
    "The conditions spread unequally, and one spread was taken for all: differences are then found "
    "where there are none more often than stated. Without `--method` each pair is taken by its own."
)
"""Seen in 20,000 simulated experiments each: 9 to 15 false differences in 100 instead of 5, where
one of four conditions spreads eight times as much, or two of them four times."""

_TWO = (
    "Two prints stand against more: such two now and then lie close together by chance, so a "
    "difference counts only where it would whatever the spreads are. A third print of that "
    "condition shows much more."
)
"""Welch's test then errs in up to 15 of 100 experiments instead of 5 (own_spreads.py)."""

ADJUSTING = {"sidak": sidak, "holm": holm}
_FEWEST_DF = 2
RATIOS = (1.25, 1.5, 2.0, 3.0)
MOST_CONDITIONS = 20


@dataclass(frozen=True)
class Question:
    """What is compared, and how."""

    figure: str
    title: str
    unit: str
    log: bool = True
    by: tuple[str, ...] = ("condition",)
    method: str = "usual"
    reference: str | None = None
    confidence: float = 0.95
    spread: float | None = None
    """A spread to plan with instead of the one seen: a GSD, or a standard deviation."""
    left_out: Mapping[str, str] | None = None
    timed: bool = True
    """Whether the samples are known to stand in the order in which they were made."""

    @property
    def alpha(self) -> float:
        """The share of false differences that is put up with."""
        return 1 - self.confidence


Group = list[Value]


def compare(samples: Sequence[Sample], question: Question) -> Comparison:
    """Compare all conditions with one another or with the reference; raises CompareError."""
    held = grouped(samples)
    _check(held, question)
    groups = [[scaled(s, question.log) for s in held[name]] for name in held]
    return _Comparing(held, groups, question).all()


def _check(held: Mapping[str, Sequence[Sample]], question: Question) -> None:
    if len(held) < 2:
        there = f'only "{next(iter(held))}"' if held else "none"
        raise CompareError(f"two conditions are needed to compare, and there is {there}")
    if len(held) > MOST_CONDITIONS:
        raise CompareError(f"{len(held)} conditions are too many; {MOST_CONDITIONS} are possible")
    if question.method not in METHODS:
        raise CompareError(f'"{question.method}" is no method; {", ".join(METHODS)} are')
    reference = question.reference
    if reference is not None and reference not in held:
        there = ", ".join(f'"{name}"' for name in held)
        raise CompareError(f'there is no condition "{reference}"; there is {there}')
    if question.method == "dunnett" and reference is None:
        raise CompareError("dunnett compares with a reference: name one with --reference")


class _Comparing:
    """One comparison on its way."""

    def __init__(
        self, held: Mapping[str, Sequence[Sample]], groups: list[Group], question: Question
    ) -> None:
        self.held, self.groups, self.question = held, groups, question
        self.names = list(held)
        self.pairs = self._pairs()
        self.method = chosen(question.method, len(self.pairs))
        self.tested = sum(min(len(groups[i]), len(groups[j])) > 1 for i, j in self.pairs)
        self.pool = Pool(groups)
        self.joint = self.method in ("tukey", "dunnett") and bool(self.pool.df and self.pool.spread)
        self.critical = 0.0
        self.uneven = self._uneven()
        self._found: dict[tuple[int, int], float] = {}
        self.spread, self.spread_from = self._spread()

    def _pairs(self) -> list[tuple[int, int]]:
        reference = self.question.reference
        if reference is None:
            return list(combinations(range(len(self.names)), 2))
        control = self.names.index(reference)
        return [(i, control) for i in range(len(self.names)) if i != control]

    def _spread(self) -> tuple[float | None, str]:
        """Choose the spread to plan with, on the scale of the comparison."""
        question, pool = self.question, self.pool
        if question.spread is not None:
            given = math.log(question.spread) if question.log else question.spread
            return given, "given"
        if pool.df >= OWN_DF and pool.spread:
            each = "; each pair by its own where it can tell" if self._each_by_its_own else ""
            return pool.spread, f"these prints, {pool.df} degrees of freedom{each}"
        if question.log:
            return math.log(LITERATURE), "the literature: 1.4 to 1.7 between repeats"
        return (pool.spread or None), f"these prints, {pool.df} degrees of freedom"

    def _uneven(self) -> bool:
        """Tell whether the spreads of the conditions do not look alike."""
        chance = even_spreads(self.groups)
        return chance is not None and chance < UNEVEN

    @property
    def _each_by_its_own(self) -> bool:
        return self.uneven and not self.joint and len(self.pairs) > 1

    def _planned(self, i: int, j: int) -> float | None:
        """Give the spread to plan a pair with: its own where others spread otherwise."""
        if not self._each_by_its_own or self.question.spread is not None:
            return self.spread
        own = Pool([self.groups[i], self.groups[j]])
        return own.spread if own.df >= OWN_DF and own.spread else self.spread

    def all(self) -> Comparison:
        question = self.question
        contrasts = self._contrasts()
        samples = [s for held in self.held.values() for s in held]
        values = [float(v) for group in self.groups for v in group]
        seen = patterns(samples, values, question.log, question.timed)
        in_rows = together(samples, question.timed)
        batches = [*seen.says, *self._allowing(samples, values, seen.kinds), *in_rows]
        batches += self._said_of_spreads()
        return Comparison(
            question.figure,
            question.title,
            question.unit,
            question.log,
            question.by,
            tuple(self._condition(n) for n in range(len(self.names))),
            tuple(contrasts),
            self.method,
            question.reference,
            question.confidence,
            self._shown_spread(self.spread),
            self.spread_from,
            one_way(self.groups),
            tuple(batches),
            question.left_out or {},
            tuple([c.verdict for c in contrasts] + batches + self._one_at_a_time(contrasts)),
        )

    def _allowing(
        self, samples: Sequence[Sample], values: Sequence[float], kinds: Sequence[str]
    ) -> list[str]:
        """Compare once more with the kinds of batches that matter allowed for."""
        if not kinds or not self.question.log or any(s.below for s in samples):
            return []
        found = []
        for i, j in self.pairs:
            one, other = self.names[i], self.names[j]
            test = allowed_for(samples, values, kinds, one, other)
            if test is not None and test.df is not None and test.df >= _FEWEST_DF:
                found.append(sentence(kinds, one, other, test, self._alpha))
        return found

    def _one_at_a_time(self, contrasts: Sequence[Contrast]) -> list[str]:
        """Say that conditions of several labels may be told apart by one of them alone."""
        by = self.question.by
        if len(by) < 2 or self.tested < 2 or all(c.differs for c in contrasts):
            return []
        ways = " or ".join(f"`--by {label}`" for label in by)
        return [f"By one label at a time each condition has more prints, which show more: {ways}."]

    def _said_of_spreads(self) -> list[str]:
        """Say where one spread is taken for all and they do not look alike, or two tell too little.

        Where each pair has its own, there is nothing to be said of unequal ones.
        """
        if self.joint:
            return [_UNEVEN] if self.uneven else []
        sizes = [len(group) for group in self.groups]
        few = any(two_against_more(sizes[i], sizes[j]) for i, j in self.pairs)
        return [_TWO] if few else []

    def _shown_spread(self, spread: float | None) -> float | None:
        return math.exp(spread) if spread is not None and self.question.log else spread

    def _back(self, value: float) -> float:
        if not self.question.log:
            return value
        return math.exp(value) if value < 700 else math.inf

    def _condition(self, place: int) -> Condition:
        group = [float(v) for v in self.groups[place]]
        middle, low, high, spread = mean(group), None, None, None
        if len(group) > 1:
            deviation = math.sqrt(variance(group))
            spread = self._back(deviation)
            half = t_quantile(self.question.confidence, len(group) - 1)
            half *= deviation / math.sqrt(len(group))
            low, high = self._back(middle - half), self._back(middle + half)
        figure = Figure(self._back(middle), self.question.unit, low, high)
        repeats = [_repeat(s) for s in self.held[self.names[place]]]
        return Condition(self.names[place], tuple(repeats), figure, spread)

    def _contrasts(self) -> list[Contrast]:
        tests = [welch(self.groups[i], self.groups[j]) for i, j in self.pairs]
        adjusted, joint = self._adjusted(tests)
        return [
            self._contrast(pair, test, chance, both)
            for pair, test, chance, both in zip(self.pairs, tests, adjusted, joint, strict=True)
        ]

    def _adjusted(self, tests: list[Test]) -> tuple[list[float | None], list[Joint | None]]:
        if not self.joint:
            return self._apart(tests)
        way = tukey if self.method == "tukey" else dunnett
        joint = way(self.groups, self.pairs, self.question.confidence)
        self.critical = joint[0].half / self.pool.error(*self.pairs[0])
        return [both.adjusted for both in joint], list(joint)

    def _apart(self, tests: list[Test]) -> tuple[list[float | None], list[Joint | None]]:
        """Take each pair by its own spreads."""
        pairs = zip(self.pairs, tests, strict=True)
        own = [Own(self.groups[i], self.groups[j], test) for (i, j), test in pairs]
        alone = [one.chance() for one in own]
        adjusted = alone if self.method == "none" else ADJUSTING.get(self.method, sidak)(alone)
        alpha = self._alpha if self.method == "sidak" else self.question.alpha
        found = [one.joint(alpha, p) for one, p in zip(own, adjusted, strict=True)]
        return adjusted, found

    def _contrast(
        self, pair: tuple[int, int], test: Test, adjusted: float | None, joint: Joint | None
    ) -> Contrast:
        names, alpha = self._names(*pair), self.question.alpha
        n, m, spread = names.n, names.m, self._planned(*pair)
        finding = Finding(
            names,
            self._ratio(test, joint, names),
            test.p,
            adjusted,
            names.testable and adjusted is not None and adjusted < alpha,
            self._shown(n, m, spread),
            self._needs(spread),
            self.question.log,
        )
        return Contrast(
            names.one,
            names.other,
            finding.ratio,
            *test[2:],
            adjusted,
            finding.differs,
            finding.found,
            self._power(n, m, spread),
            tuple(finding.needs),
            verdict(finding),
        )

    def _names(self, i: int, j: int) -> Names:
        """Put the higher condition first, unless a reference stands second."""
        higher = mean([float(v) for v in self.groups[i]]) >= mean(
            [float(v) for v in self.groups[j]]
        )
        return Names(
            self.names[i],
            self.names[j],
            len(self.groups[i]),
            len(self.groups[j]),
            self._below(i if higher else j),
            self._below(j if higher else i),
            self.question.title,
            self.question.unit,
            len(self.pairs),
        )

    def _below(self, place: int) -> bool:
        return any(s.below for s in self.held[self.names[place]])

    def _ratio(self, test: Test, joint: Joint | None, names: Names) -> Figure:
        unit = "" if self.question.log else self.question.unit
        ends = None
        if joint is not None:
            ends = joint.difference - joint.half, joint.difference + joint.half
        why = "at least: one side is below what the part can show" if names.bounded else ""
        middle = self._back(test.difference)
        if ends is None or names.bounded:
            return Figure(middle, unit, why=why)
        return Figure(middle, unit, self._back(ends[0]), self._back(ends[1]), test.error, why=why)

    @property
    def _alpha(self) -> float:
        """The share of false differences that is left for each comparison."""
        if self.method == "holm":
            return self.question.alpha / max(1, self.tested)
        return sidak_share(self.question.alpha, 1 if self.method == "none" else max(1, self.tested))

    def _chance(self, n: int, m: int) -> Callable[[float], float]:
        """Give the power of these comparisons at a difference over the spread."""
        alpha, critical, df = self._alpha, self.critical, self.pool.df
        if self.joint:
            return lambda d: pooled_power(d, n, m, df, critical)
        return lambda d: own_power(d, n, m, alpha)

    def _shown(self, n: int, m: int, spread: float | None) -> float | None:
        if spread is None or n < 2 or m < 2:
            return None
        key = (n, m)
        if key not in self._found:
            known = shown(self._chance(n, m)) if self.joint else own_shown(n, m, self._alpha)
            self._found[key] = known
        return self._back(spread * self._found[key])

    def _power(self, n: int, m: int, spread: float | None) -> dict[str, float]:
        if not spread or n < 2 or m < 2 or not self.question.log:
            return {}
        chance = self._chance(n, m)
        return {f"{r:g}": chance(math.log(r) / spread) for r in RATIOS}

    def _needs(self, spread: float | None) -> tuple[Need, ...]:
        if not spread or not self.question.log:
            return ()
        return needs(spread, self._alpha, len(self.groups) if self.joint else 2)


@cache
def needs(spread: float, alpha: float, conditions: int) -> tuple[Need, ...]:
    """Tell how many prints of each would show the ratios that people ask for.

    `alpha`: the share of errors that is left for each comparison. Where the spread is pooled over
    all of more than two conditions this is close to Tukey's and a little careful.
    """

    def chance(d: float, n: int) -> float:
        if conditions == 2:
            return own_power(d, n, n, alpha)
        df = conditions * (n - 1)
        return pooled_power(d, n, n, df, t_quantile(1 - alpha, df))

    def need(ratio: float) -> Need:
        return Need(ratio, whole_repeats(lambda n: chance(math.log(ratio) / spread, n)))

    return tuple(need(ratio) for ratio in RATIOS)


def _repeat(sample: Sample) -> Repeat:
    batch = ", ".join(sample.batches.values())
    return Repeat(sample.name, float(sample.value), batch, sample.order, sample.below)
