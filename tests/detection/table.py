"""The figures of many rooms side by side with what could be reached, as text."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from detection.score import SETPOINTS, THRESHOLDS, Noticed, Score

GOAL_DELAY_S = 120.0
GOAL_FALSE = 0.25
"""False alarms a week."""


class Figures(NamedTuple):
    """What the goals speak of."""

    strong: list[Noticed]
    weak: list[Noticed]
    missed: int
    already: int
    quiet_weeks: float
    false: Counter[str]
    threshold: int
    """Place of the threshold at which a detector on the true excess has as many false alarms."""
    likely_false: int
    setpoint: int
    """The same of the detector that learns the background."""
    learnt_false: int
    at_goal: tuple[int, int]
    """Places of the threshold and the setpoint at which both reach the goal for quiet weeks."""
    quiet_fan_hours: float
    print_fan_hours: float
    found: int

    @property
    def false_a_week(self) -> float:
        return self.false.total() / self.quiet_weeks

    def delays(self, which: str = "delay", shape: str = "", goal: bool = False) -> list[float]:
        """Give the delays (s) of strong prints, of whom `which` names; never is infinite.

        `goal`: of a detector that has a threshold, where it reaches the goal for quiet weeks.
        """
        strong = [n for n in self.strong if not shape or n.one.shape == shape]
        if which == "likely":
            found = [n.likely[self.at_goal[0] if goal else self.threshold] for n in strong]
        elif which == "learnt":
            found = [n.learnt[self.at_goal[1] if goal else self.setpoint] for n in strong]
        else:
            found = [getattr(n, which) for n in strong]
        return [delay if delay is not None else np.inf for delay in found]


def _place(counts: NDArray[np.int_], allowed: float) -> int:
    """Give the place of the lowest threshold with no more false alarms than are allowed."""
    return next((n for n, count in enumerate(counts) if count <= allowed), len(counts) - 1)


def figures(scores: Iterable[Score]) -> Figures:
    """Put the scores of rooms with and without prints together."""
    scores = list(scores)
    quiet = [s for s in scores if s.false_likely]
    noticed = [n for s in scores for n in s.prints]
    strong = [n for n in noticed if n.strong]
    false = Counter(cause for s in quiet for cause in s.false)
    likely = np.sum([s.false_likely for s in quiet], axis=0)
    goal = GOAL_FALSE * sum(s.weeks for s in quiet)
    allowed = max(false.total(), goal)
    threshold = _place(likely, allowed)
    learnt = np.sum([s.false_learnt for s in quiet], axis=0)
    setpoint = _place(learnt, allowed)
    return Figures(
        strong,
        [n for n in noticed if not n.strong],
        sum(n.delay is None for n in strong),
        sum(s.already for s in scores),
        sum(s.weeks for s in quiet),
        false,
        threshold,
        int(likely[threshold]),
        setpoint,
        int(learnt[setpoint]),
        (_place(likely, goal), _place(learnt, goal)),
        sum(s.fan_hours for s in quiet),
        sum(s.fan_hours for s in scores if not s.false_likely),
        sum(n.delay is not None for n in noticed) + sum(s.already for s in scores),
    )


def _at(delays: list[float], share: float) -> str:
    if not delays:
        return "-"
    found = float(np.quantile(delays, share, method="inverted_cdf"))
    return "never" if np.isinf(found) else f"{found:.0f} s"


def _row(name: str, *cells: str) -> str:
    return f"  {name:<52}" + "".join(f"{cell:>14}" for cell in cells)


def _delay_rows(made: Figures) -> Iterator[str]:
    shapes = sorted({n.one.shape for n in made.strong})
    kinds = ("delay", "ideal", "likely", "learnt")
    for share, words in ((0.5, "median"), (0.9, "90th percentile")):
        yield _row(
            f"delay, {len(made.strong)} strong prints, {words}",
            *(_at(made.delays(k), share) for k in kinds),
        )
    for shape in shapes:
        count = len(made.delays("delay", shape))
        for share, words in ((0.5, f"  {shape}, {count}: median"), (0.9, "    90th percentile")):
            yield _row(words, *(_at(made.delays(k, shape), share) for k in kinds))
    theta, learnt = THRESHOLDS[made.at_goal[0]], SETPOINTS[made.at_goal[1]]
    for share, words in ((0.5, "median"), (0.9, "90th percentile")):
        slower = (_at(made.delays(k, goal=True), share) for k in kinds[2:])
        yield _row(
            f"at 1 false alarm in 4 weeks (> {theta:.1f}, > {learnt:.2f}), {words}", "", "", *slower
        )
    never = [sum(np.isinf(d) for d in made.delays(k)) for k in kinds]
    yield _row("strong prints never noticed", *map(str, never))
    silent = sum(n.delay is None and not n.hour for n in made.strong)
    yield _row("  nor told by the alarm on the hour's mean", str(silent))


def table(name: str, scores: list[Score]) -> str:
    """Write the table of one family of rooms."""
    made, weeks = figures(scores), max(1e-9, figures(scores).quiet_weeks)
    weak = sum(n.delay is not None for n in made.weak)
    errors = np.array([e for s in scores for e in s.errors])
    ideal_false = sum(s.false_ideal for s in scores)
    ideal_hours = sum(s.ideal_hours for s in scores)
    ideal_found = max(1, sum(n.ideal is not None for s in scores for n in s.prints))
    causes = [
        _row(f"  of them with: {cause}", f"{count / weeks:.2f}")
        for cause, count in made.false.most_common()
    ]
    within = np.mean(np.abs(errors[:, 0]) < 2 * errors[:, 1])
    theta, learnt = THRESHOLDS[made.threshold], SETPOINTS[made.setpoint]
    return "\n".join(
        (
            f"{name}: {weeks:.0f} quiet weeks; strong prints add 10 µg/m³ or more to an hour",
            _row("", "shipped", "knows all", f"true > {theta:.1f}", f"learns > {learnt:.2f}"),
            *_delay_rows(made),
            _row(f"weak prints noticed, of {len(made.weak)}", str(weak)),
            _row("prints that began while the alarm stood", str(made.already)),
            _row(
                "false alarms a quiet week",
                f"{made.false_a_week:.2f}",
                f"{ideal_false / weeks:.2f}",
                f"{made.likely_false / weeks:.2f}",
                f"{made.learnt_false / weeks:.2f}",
            ),
            *causes,
            _row("alarms on the hour's mean a quiet week", _hours_bad(scores, weeks)),
            _row(
                "extractor hours a noticed print",
                f"{made.print_fan_hours / max(1, made.found):.1f}",
                f"{ideal_hours / ideal_found:.1f}",
            ),
            _row("extractor hours a quiet week", f"{made.quiet_fan_hours / weeks:.1f}", "0.0"),
            _row("baseline in quiet weeks: mean error, µg/m³", f"{errors[:, 0].mean():+.2f}"),
            _row("  within twice its stated uncertainty", f"{within:.0%}"),
        )
    )


def _hours_bad(scores: list[Score], weeks: float) -> str:
    return f"{sum(s.hours_bad for s in scores if s.false_likely) / weeks:.2f}"
