"""Strangers' rooms through the real command: `python -m detection.strange_weeks`, in tests/.

Writes CSVs, has `ventwright replay FILE --json` play each with the shipped rules and no
configuration, and prints how early prints were noticed and how often something else was. Takes
minutes; `--weeks N` quiet and N printing ones a house, of `--days` each.
"""

import argparse
import json
import multiprocessing
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from detection.ideal import spans
from detection.loggers import START, keep, write
from detection.score import STRONG, THRESHOLDS
from detection.strangers import DAY_S, HOUSES, STEP_S, Days, Emitting, House, live
from detection.table import GOAL_FALSE

VENTWRIGHT = Path(sys.executable).with_name("ventwright")
LATE_S = 300
"""After the end of a print an alarm is still for it, where rows are rare."""
FELT_S = 3600


class Task(NamedTuple):
    """A house, a seed, how many days, with prints or without."""

    house: House
    seed: int
    days: int
    printing: bool


class Noticed(NamedTuple):
    """A print, after how many s it was noticed, and by one who sees the true level; None: never."""

    one: Emitting
    delay: float | None
    likely: list[float | None]


class Found(NamedTuple):
    """What a replay told of a log."""

    task: Task
    prints: list[Noticed]
    already: int
    """Prints that began while the alarm stood."""
    false: list[tuple[str, float]]
    """Alarms apart from any print: what happened shortly before, and how long they stood, s."""
    likely: list[int]
    """The same of one who sees the true level, for each of THRESHOLDS."""
    fan_hours: float
    notes: list[str]


def replayed(path: Path) -> dict[str, Any]:
    """Play a file as its owner would; raises RuntimeError where that says anything else."""
    done = subprocess.run(
        [VENTWRIGHT, "replay", path, "--json"], capture_output=True, text=True, check=False
    )
    if done.returncode or done.stderr:
        raise RuntimeError(f"{path.name}: {done.returncode}: {done.stderr[-500:]}")
    told: dict[str, Any] = json.loads(done.stdout)["replayed"][0]
    return told


def _seconds(text: str | None) -> float:
    return np.inf if text is None else (datetime.fromisoformat(text) - START).total_seconds()


def _noticed(one: Emitting, days: Days, stood: list[tuple[float, float]]) -> Noticed | None:
    if any(a < one.begins < b for a, b in stood):
        return None
    raised = [a for a, _ in stood if one.begins <= a < one.ends + LATE_S]
    first, last = np.searchsorted(days.t, [one.begins, one.ends])
    excess = (days.level - days.bare)[first:last]
    over = [np.flatnonzero(excess >= threshold) for threshold in THRESHOLDS]
    likely = [float(o[0] * STEP_S) if len(o) else None for o in over]
    return Noticed(one, raised[0] - one.begins if raised else None, likely)


def _cause(days: Days, t: float) -> str:
    felt = (one.cause for one in days.doings if one.begins <= t <= one.ends + FELT_S / 2)
    return next(felt, "nothing")


def judged(task: Task, days: Days, told: dict[str, Any]) -> Found:
    """Hold what was told against what happened."""
    alarms = [one for one in told["alarms"] if one["alarm"] == "print"]
    stood = [(_seconds(one["raised"]), _seconds(one["cleared"])) for one in alarms]
    noticed = [_noticed(one, days, stood) for one in days.prints]
    apart = [
        (_cause(days, a), min(b, task.days * DAY_S) - a)
        for a, b in stood
        if not any(one.begins <= a <= one.ends + FELT_S for one in days.prints)
    ]
    quiet = days.level - days.bare if not task.printing else np.zeros(1)
    return Found(
        task,
        [one for one in noticed if one],
        noticed.count(None),
        apart,
        [len(spans(quiet, threshold, STEP_S)) for threshold in THRESHOLDS],
        sum(fan["on (h)"] for fan in told["extractors"].values()),
        told["notes"],
    )


def run(task: Task) -> Found:
    """Live, keep, write, replay and judge."""
    days = live(*task)
    dice = np.random.default_rng([task.seed, task.printing, 2])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{task.seed}.csv"
        write(keep(task.house.logger, days, dice), path)
        return judged(task, days, replayed(path))


def _at(delays: list[float | None], share: float) -> str:
    full = [np.inf if delay is None else delay for delay in delays]
    found = np.quantile(full, share, method="inverted_cdf") if full else np.nan
    return "never" if np.isinf(found) else f"{found:.0f}"


HEAD = (
    f"{'':<16}{'strong':>7}{'median':>8}{'P90':>7}{'never':>7}{'already':>9}{'false':>7}"
    f"{'longest':>9}{'fan':>6}   {'true >':>7}{'median':>8}{'P90':>7}{'false':>7}\n"
    f"{'':<16}{'prints':>7}{'s':>8}{'s':>7}{'':>7}{'':>9}{'a week':>7}"
    f"{'h':>9}{'h/d':>6}   {'µg/m³':>7}{'s':>8}{'s':>7}{'a week':>7}\n"
)


def row(name: str, found: list[Found]) -> str:
    """Write the row of some logs."""
    strong = [one for f in found for one in f.prints if one.one.strength >= STRONG]
    quiet = [f for f in found if not f.task.printing]
    false = [one for f in quiet for one in f.false]
    weeks = sum(f.task.days for f in quiet) / 7
    likely = np.sum([f.likely for f in quiet], axis=0)
    allowed = max(len(false), GOAL_FALSE * weeks)
    place = next((n for n, count in enumerate(likely) if count <= allowed), len(likely) - 1)
    delays, best = [one.delay for one in strong], [one.likely[place] for one in strong]
    longest = max((one[1] for one in false), default=0) / 3600
    causes = ", ".join(f"{n} {cause}" for cause, n in Counter(c for c, _ in false).most_common())
    return (
        f"{name:<16}{len(strong):>7}{_at(delays, 0.5):>8}{_at(delays, 0.9):>7}"
        f"{delays.count(None):>7}{sum(f.already for f in found):>9}{len(false) / weeks:>7.2f}"
        f"{longest:>9.1f}{sum(f.fan_hours for f in quiet) / weeks / 7:>6.2f}   "
        f"{THRESHOLDS[place]:>7.1f}{_at(best, 0.5):>8}{_at(best, 0.9):>7}"
        f"{likely[place] / weeks:>7.2f}   {causes}"
    )


def table(found: list[Found]) -> Iterator[str]:
    """Write the table, a row a house; true > x: sees the true level, not who brings it in."""
    yield HEAD
    for house in dict.fromkeys(f.task.house for f in found):
        yield row(house.name, [f for f in found if f.task.house == house]) + "\n"
    yield row("all", found) + "\n"


def main() -> int:
    """Play all and print the table."""
    parser = argparse.ArgumentParser(prog="detection.strange_weeks", description=__doc__)
    parser.add_argument("--weeks", type=int, default=4)
    parser.add_argument("--days", type=int, default=7)
    parser.add_argument("--house", default="", help="only those whose name has this")
    words = parser.parse_args()
    tasks = [
        Task(house, seed, words.days, printing)
        for house in HOUSES
        if words.house in house.name
        for seed in range(1, words.weeks + 1)
        for printing in (False, True)
    ]
    with multiprocessing.Pool() as pool:
        found = list(pool.imap(run, tasks))
    sys.stdout.writelines(table(found))
    return 0


if __name__ == "__main__":
    sys.exit(main())
