"""Rolling means against pandas 2.1 or newer, on a grid of 10 ms that knows nothing of our sums.

Every reading is spread over the 10 ms cells for which it speaks; what is left are pandas'
`Series.rolling` over the cells, and `Series.count` for the coverage.
"""

import random

import pandas as pd
import pytest

from ventwright.means.history import History

GRID = 10
PERIOD, REACH = 1000, 5000


def readings(seed: int, count: int = 400) -> list[tuple[int, int]]:
    dice, t, found = random.Random(seed), 5000, []
    for _ in range(count):
        t += GRID * dice.choice([80, 100, 100, 100, 230, dice.randrange(1, 1500)])
        found.append((t, dice.randrange(0, 5000)))
    return found


def cells(taken: list[tuple[int, int]], end: int) -> "pd.Series[float]":
    """Spread readings over cells; the cell numbered n covers the time from 10n to 10n + 10 ms."""
    grid = pd.Series(float("nan"), index=range(end // GRID))
    last = None
    for t, step in taken:
        start = t - PERIOD if last is None or t - last > REACH else last
        grid.loc[max(0, start // GRID) : t // GRID - 1] = step
        last = t
    return grid


@pytest.mark.parametrize("length", [1000, 7310, 60_000, 200_000])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_mean_after_every_reading_is_that_of_pandas(seed: int, length: int) -> None:
    taken = readings(seed)
    history = History(PERIOD, REACH)
    window = history.window(length)
    rolling = cells(taken, taken[-1][0]).rolling(length // GRID, min_periods=1)
    means, counts = rolling.mean(), rolling.count()
    for t, step in taken:
        history.add(t, step)
        area, cover = window.sums(t)
        assert cover == counts.iloc[t // GRID - 1] * GRID
        assert area / cover == pytest.approx(means.iloc[t // GRID - 1], rel=1e-9)
