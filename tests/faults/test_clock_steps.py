"""A wall clock that steps changes no poll, decision or message; labels are corrected once."""

import random
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from faults.house_in_fast_time import OFFSET, Fast, Sink
from house import events
from receivers import split_line
from ventwright.courier.intake import time_of_day
from ventwright.exporting.labels import BUILT_MS
from ventwright.settings.model import DAY, HOUR, MINUTE
from ventwright.storage.reader import Boot, Reader

PERIOD = 30_000
STEPS = (-HOUR, HOUR, 56 * 365 * DAY)


class Phone(Sink):
    """Notes when each message came, by the house's clock."""

    def __init__(self) -> None:
        super().__init__()
        self.came: list[tuple[int, bytes]] = []
        self.house: Fast | None = None

    def keep(self, body: bytes) -> None:
        assert self.house
        self.came.append((self.house.clock.now(), body))


class Base(Sink):
    """Keeps the times of all points."""

    def __init__(self) -> None:
        super().__init__()
        self.times: list[int] = []

    def keep(self, body: bytes) -> None:
        self.times += [int(split_line(line)[2]) for line in body.decode().splitlines()]


@contextmanager
def closing_servers() -> Iterator[list[Any]]:
    made: list[Any] = []
    try:
        yield made
    finally:
        for server in made:
            server.close()


@pytest.fixture
def servers() -> Iterator[list[Any]]:
    with closing_servers() as made:
        yield made


def house(folder: Path, servers: list[Any], **clock: Any) -> tuple[Fast, Base, Phone]:
    base, phone = Base(), Phone()
    servers += [base, phone]
    url, owner = f"http://127.0.0.1:{base.port}", f"127.0.0.1:{phone.port}"
    made = Fast(folder, url, owner, PERIOD, **clock)
    phone.house = made
    return made, base, phone


HOURS = 2
"""24 in the long form: `cd tests && python -m faults.test_clock_steps`."""


def play(made: Fast, steps: dict[int, int], hours: int) -> None:
    """Play half hours; one print every four hours; the clock is set after some polls."""
    half_hour = 30 * MINUTE // PERIOD
    for begin in range(0, hours * 2 * half_hour, half_hour):
        made.level = 100.0 if begin // half_hour % 8 == 2 else 0.0
        made.gone = {"door"} if begin == half_hour else set()
        at, end = begin, begin + half_hour
        for when in sorted(poll for poll in steps if begin <= poll < end):
            made.run((when - at) * PERIOD)
            made.offset += steps[when]
            at = when
        made.run((end - at) * PERIOD)
    made.close()


def outcome(made: Fast, phone: Phone) -> dict[str, Any]:
    reader = Reader(made.folder)
    blocks = [(b.part.name, b.first, b.last, b.body) for b in reader.all_blocks()]
    boots = reader.boots()
    reader.close()
    happened = [(e.t, e.kind, e.subject, e.body) for e in events(made.folder)]
    return {"polls": blocks, "decisions": happened, "messages": phone.came, "labels": boots}


def test_a_time_with_steps_is_as_one_without(tmp_path: Path, servers: list[Any]) -> None:
    assert 2 <= same_with_steps(tmp_path, servers, HOURS)["messages"] < 20


def same_with_steps(tmp_path: Path, servers: list[Any], hours: int) -> dict[str, int]:
    """Play with and without steps; returns what there was of each kind, the same in both."""
    dice = random.Random(4)
    steps = dict(zip(dice.sample(range(hours * HOUR // PERIOD), 6), STEPS * 2, strict=True))
    found = []
    for name, stepped in (("without", {}), ("with", steps)):
        made, base, phone = house(tmp_path / name, servers)
        play(made, stepped, hours)
        found.append(outcome(made, phone))
        assert min(base.times) >= BUILT_MS
        assert max(base.times) <= OFFSET + 26 * HOUR
    assert found[0] == found[1]
    assert {kind for _, kind, _, _ in found[0]["decisions"]} >= {"alarm", "part"}
    return {kind: len(found[0][kind]) for kind in ("polls", "decisions", "messages")}


@pytest.mark.parametrize("first", [0, OFFSET - 200 * DAY])
def test_a_clock_that_is_wrong_at_boot_holds_pushing_back_and_labels_are_right_once(
    tmp_path: Path, servers: list[Any], first: int
) -> None:
    made, base, phone = house(tmp_path, servers, offset=first, right=False)
    made.level = 100.0
    made.run(HOUR)
    assert base.times == []
    assert phone.came
    made.offset, made.right = OFFSET, True
    made.run(5 * MINUTE)
    made.offset -= 3 * HOUR
    made.run(5 * MINUTE)
    reader = Reader(tmp_path)
    assert reader.boots() == {1: Boot(1, "boot-fast", OFFSET, True)}
    reader.close()
    made.close()
    assert min(base.times) >= OFFSET + HOUR


def test_times_of_day_follow_daylight_saving(monkeypatch: pytest.MonkeyPatch) -> None:
    """25 October 2026, 03:00 is 02:00 again in Berlin: by the tz database."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    at = 1_792_886_400_000  # 2026-10-25T00:00Z
    boot = Boot(1, "boot", at, True)
    told = [time_of_day(boot, minutes * MINUTE) for minutes in (30, 59, 60, 90)]
    assert told == ["02:30", "02:59", "02:00", "02:30"]
    assert time_of_day(boot._replace(settled=False), 0) is None
    monkeypatch.undo()
    time.tzset()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder, closing_servers() as running:
        counted = same_with_steps(Path(folder), running, 24)
    print(f"a day with steps of -1 h, +1 h, +56 years, twice each, and one without: {counted}")
