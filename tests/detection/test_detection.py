"""Prints are noticed and quiet weeks are quiet: the short form of `python -m detection`.

The goals are a median of 2 min for strong prints, none missed, less than one false alarm in four
weeks. The median is reached for prints that begin with a burst; for those that begin slowly it
takes longer. The report says by how much, and what one who knows everything would reach.
"""

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest

from detection.families import HELD_OUT, KNOWN, PartView
from detection.ideal import _log_bin, likelihood, spans
from detection.score import Score, Task, run
from detection.table import GOAL_DELAY_S, Figures, figures, table

TASKS = [Task(KNOWN, seed, 7, printing=False) for seed in (4, 5)]
TASKS += [Task(KNOWN, seed, 4, printing=True) for seed in (4, 5, 8, 9)]
"""Rooms with the part that gives a reading every 2.3 s, for the other takes twice the time. Two
quiet weeks hold what must not happen; how often it does happen in all rooms the report counts."""


@pytest.fixture(scope="module")
def scores() -> Iterator[list[Score]]:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        yield list(pool.map(run, TASKS))


@pytest.fixture(scope="module")
def made(scores: list[Score]) -> Figures:
    print(table(KNOWN.name, scores))
    return figures(scores)


def test_no_strong_print_is_missed(made: Figures) -> None:
    assert len(made.strong) >= 8
    assert made.missed == 0


def test_a_print_that_begins_with_a_burst_is_noticed_within_two_minutes(made: Figures) -> None:
    delays = made.delays(shape="burst")
    assert len(delays) >= 3
    assert np.median(delays) <= GOAL_DELAY_S


def test_strong_prints_of_all_shapes_are_noticed_in_a_few_minutes(made: Figures) -> None:
    assert np.median(made.delays()) <= 300
    assert np.median(made.delays("ideal")) <= 60


def test_quiet_air_raises_nothing_and_a_door_to_dirty_air_hardly_ever(made: Figures) -> None:
    """Two weeks are too few for the goal of one in four; a door opens to dirty air in one."""
    assert made.quiet_weeks > 1.9
    assert set(made.false) <= {"door"}
    assert made.false.total() <= 1


def test_the_baseline_is_where_it_says(scores: list[Score]) -> None:
    errors = np.array([error for score in scores for error in score.errors])
    assert abs(errors[:, 0].mean()) < 0.7
    assert np.mean(np.abs(errors[:, 0]) < 2 * errors[:, 1]) > 0.85


@pytest.mark.parametrize("family", [KNOWN, HELD_OUT], ids=lambda family: family.name)
def test_the_likelihood_of_all_readings_is_one(family: object) -> None:
    for part in family.parts:  # type: ignore[attr-defined]
        readings = np.arange(0, 80 / part.resolution) * part.resolution
        for mean in (0.05, 3.3, 20.0):
            chances = np.exp(_log_bin(readings, np.full_like(readings, mean), part))
            assert chances.sum() == pytest.approx(1, abs=1e-3)


def test_the_ideal_detector_sees_a_step_and_no_noise() -> None:
    part, dice = PartView("x", 1.0, 5.0, 0.7, 0.0, 1.0, 1.0, 0.0), np.random.default_rng(2)
    mean = np.full(200_000, 5.3)
    noisy = np.round(mean + 0.7 * dice.normal(size=len(mean)))
    assert likelihood(noisy, mean, part) is None
    noisy[100_000:] = np.round(7.3 + 0.7 * dice.normal(size=100_000))
    found = likelihood(noisy, mean, part)
    assert found is not None
    assert 100_002 < found < 100_020


def test_excess_that_hardly_falls_is_one_alarm() -> None:
    excess = np.array([0, 5, 9, 8, 9, 0, 0, 0, 9, 0], dtype=float)
    assert spans(excess, 8.5, 60.0) == [(2, 4), (8, 8)]
    assert spans(excess, 8.5, 1.0) == [(2, 8)]
