"""Minutes counted back from an end say the same as the rolling windows."""

import random

import pytest

from ventwright.means.history import History
from ventwright.means.minutes import MINUTE_MS, Minutes

PERIOD, REACH = 1000, 5000


def readings(seed: int) -> list[tuple[int, int]]:
    dice, t, found = random.Random(seed), 0, []
    for _ in range(600):
        t += dice.choice([1000, 1000, 1003, 2300, 5000, 5001, dice.randrange(1, 200_000)])
        found.append((t, dice.randrange(-500, 5000)))
    return found


@pytest.mark.parametrize("seed", range(5))
def test_every_mean_is_that_of_a_rolling_window(seed: int) -> None:
    taken = readings(seed)
    end, count = taken[-1][0], 60
    minutes = Minutes(end, count, PERIOD, REACH)
    history = History(PERIOD, REACH)
    windows = {n: history.window(n * MINUTE_MS) for n in (1, 2, 5, 17, 60)}
    for t, step in taken:
        minutes.add(t, step)
        history.add(t, step)
    for n, window in windows.items():
        area, cover = window.sums(end)
        sums = minutes.sums(0, n)
        assert (sums.area, sums.cover) == (area, cover)
        assert sums.coverage == cover / (n * MINUTE_MS)


def test_minutes_add_up() -> None:
    minutes = Minutes(600_000, 10, PERIOD, REACH)
    for t in range(1000, 600_001, 1000):
        minutes.add(t, t // MINUTE_MS)
    whole = minutes.sums(0, 10)
    parts = [minutes.sums(n, n + 1) for n in range(10)]
    assert whole.area == sum(part.area for part in parts)
    assert [part.cover for part in parts] == [MINUTE_MS] * 10
    assert whole.coverage == 1
    assert minutes.sums(3, 3).coverage == 0


def test_a_reading_after_the_end_speaks_for_the_time_before_it() -> None:
    minutes = Minutes(60_000, 1, PERIOD, REACH)
    minutes.add(59_000, 10)
    minutes.add(60_500, 30)
    assert minutes.sums(0, 1)[:2] == (10 * 1000 + 30 * 1000, 2000)


def test_what_comes_late_or_is_too_old_does_not_count() -> None:
    minutes = Minutes(60_000, 1, PERIOD, REACH)
    minutes.add(-5000, 99)
    minutes.add(30_000, 10)
    minutes.add(30_000, 99)
    minutes.add(29_000, 99)
    assert minutes.sums(0, 1)[:2] == (10 * 1000, 1000)
