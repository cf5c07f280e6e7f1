"""The long form: how often intervals hold the truth, and how often comparisons see a difference."""

import math
from collections.abc import Iterable
from multiprocessing import get_context
from typing import NamedTuple

import numpy as np

from trialling.prints import Job, Part, Room, analysed, series
from ventwright.contrasts.compare import Question, compare
from ventwright.contrasts.power import welch_power
from ventwright.contrasts.sample import Sample
from ventwright.trials.figures import Figure, Print


class Held(NamedTuple):
    """Whether total and yield were within their intervals; None where nothing was claimed."""

    total: bool | None
    per_gram: bool | None
    below: bool
    half: float
    """Half of the interval over the truth."""
    why: str


def _within(figure: Figure, true: float) -> bool | None:
    if figure.value is None or figure.low is None or figure.high is None:
        return None
    if figure.below is not None:
        return true <= figure.below
    return figure.low <= true <= figure.high


def one_print(seed: int) -> Held:
    """Draw a room, a part and a print, and see whether the analysis holds the truth."""
    dice = np.random.default_rng(seed)
    stated = float(dice.uniform(25, 80))
    room = Room(
        stated * (1 + 0.05 * dice.standard_normal()),
        float(dice.uniform(0.6, 2.0)),
        float(dice.uniform(2, 12)),
    )
    part = Part(lag_s=float(dice.uniform(5, 30)), correlated_s=float(dice.uniform(20, 120)))
    job = Job(
        float(np.exp(dice.uniform(math.log(100), math.log(20_000)))),
        prints=int(dice.uniform(20, 90)),
        burst=float(dice.uniform(0, 0.7)),
        lead=float(dice.standard_normal()),
        grams=float(dice.uniform(5, 60)),
    )
    made = analysed(series(room, job, part, dice), job, stated)
    return _held(made, job)


def _held(made: Print, job: Job) -> Held:
    total = _within(made.total, job.emitted)
    gram = _within(made.per_gram, job.emitted / job.grams)
    half = 0.0
    if made.total.high is not None and made.total.low is not None:
        half = (made.total.high - made.total.low) / 2 / job.emitted
    return Held(total, gram, made.total.below is not None, half, made.total.why)


REPEATS, SPREAD = 4, 1.4
"""Prints of a condition, and their geometric spread: the lower end of the literature's."""


def _condition(name: str, middle: float, first: int, dice: np.random.Generator) -> list[Sample]:
    found = []
    for n in range(REPEATS):
        emitted = middle * math.exp(math.log(SPREAD) * dice.standard_normal())
        job = Job(emitted, background=12, prints=25, decay=50, lead=float(dice.standard_normal()))
        made = analysed(series(Room(), job, Part(), dice), job, 45.0)
        figure = made.per_gram
        below = figure.below is not None
        value = figure.below if below else figure.value
        if value is not None:
            found.append(Sample(f"{name}{n}", name, value, order=first + 2 * n, below=below))
    return found


def one_experiment(job: tuple[int, float]) -> bool:
    """Make the prints of two conditions whose emissions have a true ratio; is one seen?"""
    seed, ratio = job
    dice = np.random.default_rng(1_000_000 + seed)
    samples = _condition("one", 2000.0, 0, dice) + _condition("other", 2000.0 * ratio, 1, dice)
    question = Question("per_gram", "PM2.5 emitted per gram", "µg/g")
    return compare(samples, question).contrasts[0].differs


def ratio_for(power: float) -> float:
    """Give the ratio that experiments of this size are predicted to show with that chance."""
    low, high = 1.0, 20.0
    for _ in range(60):
        middle = math.sqrt(low * high)
        chance = welch_power(math.log(middle) / math.log(SPREAD), REPEATS)
        low, high = (middle, high) if chance < power else (low, middle)
    return low


def prints(count: int, processes: int = 2) -> list[Held]:
    """Judge so many prints."""
    with get_context("spawn").Pool(processes) as pool:
        return pool.map(one_print, range(count), 8)


def experiments(count: int, ratio: float, processes: int = 2) -> float:
    """Give the share of so many experiments that see a difference at a true ratio."""
    with get_context("spawn").Pool(processes) as pool:
        return sum(pool.map(one_experiment, [(n, ratio) for n in range(count)], 4)) / count


def share(held: Iterable[bool | None]) -> tuple[float, int]:
    """Give the share that holds, and of how many."""
    known = [one for one in held if one is not None]
    return sum(known) / max(1, len(known)), len(known)
