"""The trend of clearance: found where it is, not found where it is not, and told with a month."""

import random
from pathlib import Path

import pytest

from ventwright.events import Record
from ventwright.settings.model import DAY
from ventwright.source.trend import ENOUGH, Use, trend_of
from ventwright.source.uses import clearance_lines, clearances
from ventwright.storage.schema import store_path
from ventwright.storage.writer import Writer

START = 1_700_000_000_000


def uses(count: int, a_day: float, noise: float = 0.05, seed: int = 1) -> list[Use]:
    chance = random.Random(seed)
    return [Use(START + n * DAY, 1 + a_day * n + chance.gauss(0, noise)) for n in range(count)]


def test_a_filter_that_fills_up_is_seen_long_before_it_is_due() -> None:
    found = trend_of(uses(60, -0.002), 0.75)
    assert found is not None
    assert found.falls
    assert found.a_month == pytest.approx(-0.06, rel=0.3)
    assert found.due is not None
    assert found.due - START == pytest.approx(125 * DAY, rel=0.25)


def test_without_a_trend_one_in_twenty_is_told_at_most() -> None:
    wrong = sum(bool((t := trend_of(uses(40, 0.0, seed=n), 0.75)) and t.falls) for n in range(200))
    assert wrong <= 10  # one-sided 2.5 %: 5 expected, 10 is the 98th percentile


def test_a_rise_is_no_filter_that_is_due() -> None:
    found = trend_of(uses(60, 0.002), 0.75)
    assert found is not None
    assert not found.falls
    assert found.due is None


def test_too_few_uses_and_a_few_days_say_nothing() -> None:
    assert trend_of(uses(ENOUGH - 1, -0.1), 0.75) is None
    assert trend_of([Use(START + n, 1 - n / 99) for n in range(50)], 0.75) is None


def test_kendalls_test_against_its_own_arithmetic() -> None:
    shares = [4.0, 6.0, 1.0, 3.0, 5.0, 2.0, 8.0, 7.0]  # S = 8 counted by hand
    found = trend_of([Use(START + 3 * n * DAY, s) for n, s in enumerate(shares)], 0.75)
    assert found is not None
    assert found.chance == pytest.approx(0.3865, abs=1e-3)  # z = 7/sqrt(8*7*21/18) = 0.8660


def test_uses_are_read_since_the_newest_commissioning(tmp_path: Path) -> None:
    writer = Writer(tmp_path, "boot", START)
    for n, use in enumerate(uses(80, -0.003)):
        t = use.t - START
        if n == 20:
            writer.add(Record(t, "commissioned", "hood", {"channel": "bench.pm2_5"}))
        body = {"change": "found", "share": use.share}
        writer.add(Record(t + 1, "clearance", "hood", body))
    writer.commit()
    told, failing = clearances(tmp_path)
    assert not failing
    assert told["hood"]["uses"] == 60
    (line,) = clearance_lines(told)
    assert "it falls by" in line
    assert "filter due about" in line


def test_a_store_that_cannot_be_read_is_said_and_not_taken_for_no_uses(tmp_path: Path) -> None:
    store_path(tmp_path).write_bytes(b"no database, but long enough to be looked at" * 99)
    told, failing = clearances(tmp_path)
    (line,) = clearance_lines(told, failing)
    assert line == "clearance: not known, for the store cannot be read: file is not a database"
