"""Time over limits against sums by hand, and what a log that is longer costs in memory."""

import random
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

import rooms
from daemon.replaying.lives import OFFSET
from ventwright.events import Readings
from ventwright.replaying.air import COVERAGE, Compared, Window
from ventwright.replaying.blocks import Unpacker
from ventwright.replaying.outcome import Outcome, replay_store
from ventwright.replaying.player import Player
from ventwright.replaying.stored import StoredLog
from ventwright.settings.limits import limits
from ventwright.settings.model import DAY, HOUR, MINUTE
from ventwright.storage.writer import Writer

LIMIT = limits()["who-pm2_5-24h"]


def by_hand(minutes: list[tuple[int, int, int]], averaging: int, threshold: float) -> Any:
    """Look at every minute from the first to the last; known and over in ms."""
    sums = {minute: (area, cover) for minute, area, cover in minutes}
    known = over = 0
    for end in range(minutes[0][0], minutes[-1][0] + 1):
        window = [sums.get(m, (0, 0)) for m in range(end - averaging // MINUTE + 1, end + 1)]
        area, cover = (sum(column) for column in zip(*window, strict=True))
        if cover >= COVERAGE * averaging:
            known += MINUTE
            over += MINUTE * (area / cover > threshold)
    return known, over


@pytest.mark.parametrize("averaging", [MINUTE, 15 * MINUTE, HOUR, 8 * HOUR])
def test_time_over_a_limit_is_what_a_look_at_every_minute_gives(averaging: int) -> None:
    dice = random.Random(averaging)
    minutes, now = [], 29_000_000
    for _ in range(3000):
        now += 1 if dice.random() < 0.98 else dice.randrange(1, 900)
        cover = dice.choice([MINUTE, MINUTE, MINUTE, 40_000, 0])
        minutes.append((now, cover * dice.randrange(50, 250), cover))
    window = Window(averaging, [Compared(150, LIMIT)])
    for one in minutes:
        window.add(*one)
    window.finish()
    (found,) = window.found
    assert (found.known, found.over) == by_hand(minutes, averaging, 150)


def test_a_year_is_looked_at_in_hours_and_held_in_little() -> None:
    window = Window(365 * DAY, [Compared(50, LIMIT)])
    for minute in range(0, 500 * 1440, 5):
        window.add(29_000_000 + minute, 5 * MINUTE * 60, 5 * MINUTE)
    window.finish()
    (found,) = window.found
    assert found.over == found.known == pytest.approx((500 - 365 * COVERAGE) * DAY, rel=0.01)
    assert len(window._sums) <= 1441


def test_a_mean_at_the_limit_is_not_over_it() -> None:
    window = Window(MINUTE, [Compared(150, LIMIT)])
    window.add(29_000_000, 150 * MINUTE, MINUTE)
    window.add(29_000_001, 151 * MINUTE, MINUTE)
    window.finish()
    (found,) = window.found
    assert (found.known, found.over) == (2 * MINUTE, MINUTE)


STEP = 10_000
KINDS = {"bench": rooms.KIND._replace(period=STEP, warm_up=0)}


def write(folder: Path, hours: int, value: int = 300) -> None:
    """Store a reading every ten seconds."""
    writer = Writer(folder, "one", OFFSET)
    writer.part("bench", "pms5003", rooms.QUANTITIES)
    for n in range(hours * HOUR // STEP):
        writer.add(Readings(STEP * (n + 1), "bench", (value + n % 9,) * 3, bytes(3)))
        if n % 50 == 49:
            writer.commit()
    writer.commit()
    writer.close()


def test_limits_are_compared_with_their_own_averaging_time(tmp_path: Path) -> None:
    write(tmp_path, 30)
    settings = rooms.room()
    outcome = replay_store(tmp_path, settings, KINDS)
    air = outcome.air.channels["bench.pm2_5"]
    found = {one.limit.key: one for window in air.windows for one in window.found}
    assert found["who-pm2_5-24h"].known == pytest.approx(12 * HOUR, abs=2 * MINUTE)
    assert found["who-pm2_5-24h"].over == found["who-pm2_5-24h"].known
    assert found["who-pm2_5-year"].known == 0
    assert air.covered == 30 * HOUR


def _held(folder: Path, hours: int) -> int:
    """The most that Python holds at once in a replay, bytes."""
    write(folder, hours)
    settings = rooms.room(alarms={}, extractors={})
    outcome, log = Outcome("", settings), StoredLog(folder)
    kept = {name: entry.quantities for name, entry in settings.parts.items()}
    player = Player(settings, KINDS, outcome.listeners)
    tracemalloc.start()
    player.play(log.items(Unpacker(kept)))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    log.close()
    return peak


def test_memory_is_flat_in_the_length_of_the_log(tmp_path: Path) -> None:
    """Of two logs that are longer than the day that windows and baseline need."""
    short, long = _held(tmp_path / "a", 26), _held(tmp_path / "b", 36)
    assert long - short < 30_000
