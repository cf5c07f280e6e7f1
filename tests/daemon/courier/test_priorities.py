"""Quiet hours, repeats and who is told, on the courier as one."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rooms
from fakes import FakeClock
from receivers import Endpoint
from stored import OFFSET, phone, record, settings, writer
from ventwright.courier.main import Courier
from ventwright.notifying.repeating import MOST_REPEATS
from ventwright.settings.model import Urgency
from ventwright.settings.quiet import is_quiet, parse_quiet

MINUTE, HOUR = 60_000, 3_600_000
ALARM: dict[str, Any] = {
    "channel": "bench.pm2_5",
    "quantity": "pm2_5",
    "unit": "µg/m³",
    "compare": "mean",
    "over": MINUTE,
    "value": 23.1,
    "mean": 23.1,
    "setpoint": 10.0,
    "peak": 48.0,
    "extractors": {},
}


class Phone(Endpoint):
    def keep(self, body: bytes) -> None:
        pass

    @property
    def titles(self) -> list[str]:
        return [json.loads(request.body)["title"].partition(": ")[2] for request in self.requests]

    @property
    def bodies(self) -> list[str]:
        return [json.loads(request.body)["message"] for request in self.requests]


class House:
    """A store and a courier beside it."""

    def __init__(self, folder: Path, *owners: Phone, **given: Any) -> None:
        self.clock = FakeClock(HOUR)
        lines = [
            f"{name}: json://127.0.0.1:{owner.port}/"
            for name, owner in zip("ab", owners, strict=False)
        ]
        settled = given.pop("settled", True)
        hours = {"quiet": given.pop("quiet")} if "quiet" in given else {}
        alarms = {name: rooms.alarm() for name in ("print", "far")}
        told = phone(folder, *lines, **hours)
        self.settings = settings(folder, phone=told, alarms=alarms, **given)
        self.store = writer(folder, settled=settled)
        self.courier = self.start()

    def start(self) -> Courier:
        self.courier = Courier(
            self.settings,
            self.clock,
            {},
            boot="boot-1",
            keeper_status=lambda: {"store": {"failing": ""}},
            wall=lambda: OFFSET + self.clock.now(),
        )
        return self.courier

    def alarm(
        self, change: str, name: str = "print", priority: str = "medium", state: str = ""
    ) -> None:
        now = self.clock.now()
        body = {**ALARM, "since": now, "priority": priority, "change": change, "state": state}
        record(self.store, "alarm", name, now, **body)

    def run(self, ms: int) -> None:
        end = self.clock.now() + ms
        while self.clock.now() < end:
            self.courier.look()
            if self.courier.notifier:
                self.courier.notifier.step()
            self.clock.sleep_until(min(end, self.clock.now() + 30_000))

    def close(self) -> None:
        self.store.close()
        self.courier.close()


def hours_from_now(begin: int, length: int) -> str:
    """Write quiet hours that begin so many ms after a house is made."""
    ends = (begin, begin + length)
    return "-".join(f"{datetime.fromtimestamp((OFFSET + HOUR + t) / 1000):%H:%M}" for t in ends)


@pytest.fixture
def owner() -> Iterator[Phone]:
    made = Phone()
    yield made
    made.close()


@pytest.fixture
def other() -> Iterator[Phone]:
    made = Phone()
    yield made
    made.close()


def test_quiet_hours_hold_back_and_end_with_one_message(tmp_path: Path, owner: Phone) -> None:
    house = House(tmp_path / "s", owner, quiet=hours_from_now(-HOUR, 3 * HOUR))
    house.alarm("raised", "print")
    house.run(5 * MINUTE)
    house.alarm("cleared", "print")
    house.alarm("raised", "far", "low")
    house.run(HOUR)
    assert owner.titles == []
    house.run(2 * HOUR)
    assert owner.titles == ["2 messages from the quiet hours"]
    lines = owner.bodies[0].split("\n")
    assert [line[6:] for line in lines] == [
        "particles went up (peak PM2.5 48 µg/m³), over",
        "particles too high (PM2.5 23 µg/m³)",
    ]
    house.close()


def test_high_is_told_at_any_hour_and_so_is_its_end(tmp_path: Path, owner: Phone) -> None:
    house = House(tmp_path / "s", owner, quiet=hours_from_now(-HOUR, 3 * HOUR))
    house.alarm("raised", priority="high")
    house.run(MINUTE)
    house.alarm("cleared", priority="high")
    house.run(MINUTE)
    assert len(owner.titles) == 2
    house.close()


def test_without_a_trusted_clock_there_are_no_quiet_hours(tmp_path: Path, owner: Phone) -> None:
    house = House(tmp_path / "s", owner, quiet=hours_from_now(-HOUR, 3 * HOUR), settled=False)
    house.alarm("raised")
    house.run(MINUTE)
    assert len(owner.titles) == 1
    house.close()


def test_an_alarm_is_repeated_until_it_is_acknowledged(tmp_path: Path, owner: Phone) -> None:
    house = House(tmp_path / "s", owner, priorities={"medium": Urgency(15 * MINUTE)})
    house.alarm("raised")
    house.run(59 * MINUTE)
    assert len(owner.titles) == 4
    assert "`ventwright acknowledge print` ends these repeats" in owner.bodies[1]
    house.courier.close()
    house.start()
    house.alarm("acknowledged")
    house.run(HOUR)
    assert len(owner.titles) == 4
    house.close()


@pytest.mark.parametrize("change", ["cleared", "shelved", "out of service"])
def test_repeats_end_with_the_alarm(tmp_path: Path, owner: Phone, change: str) -> None:
    house = House(tmp_path / "s", owner, priorities={"medium": Urgency(15 * MINUTE)})
    house.alarm("raised")
    house.run(16 * MINUTE)
    house.alarm(change)
    house.run(HOUR)
    assert len(owner.titles) == 2 + (change == "cleared")
    house.close()


def test_what_was_acknowledged_and_gets_worse_is_told_once(tmp_path: Path, owner: Phone) -> None:
    """Nobody could end its repeats: there is nothing left to acknowledge."""
    house = House(tmp_path / "s", owner, priorities={"medium": Urgency(15 * MINUTE)})
    house.alarm("raised", state="unacknowledged")
    house.run(MINUTE)
    house.alarm("acknowledged", state="acknowledged")
    house.alarm("worse", state="acknowledged")
    house.run(2 * HOUR)
    assert len(owner.titles) == 2
    house.alarm("worse", "far", state="unacknowledged")
    house.run(16 * MINUTE)
    assert len(owner.titles) == 4
    house.close()


def test_an_alarm_that_was_taken_out_of_the_configuration_is_not_repeated(
    tmp_path: Path, owner: Phone
) -> None:
    rules = {"priorities": {"medium": Urgency(15 * MINUTE)}}
    house = House(tmp_path / "s", owner, **rules)
    house.alarm("raised")
    house.run(16 * MINUTE)
    assert len(owner.titles) == 2
    house.settings = replace(house.settings, alarms={})
    house.courier.close()
    house.start()
    house.run(2 * HOUR)
    assert len(owner.titles) == 2
    house.close()


def test_repeats_are_bounded_and_wait_in_quiet_hours(tmp_path: Path, owner: Phone) -> None:
    hours = hours_from_now(30 * MINUTE, 8 * HOUR)
    house = House(tmp_path / "s", owner, quiet=hours, priorities={"medium": Urgency(10 * MINUTE)})
    house.alarm("raised")
    house.run(8 * HOUR)
    assert len(owner.titles) <= 4
    house.run(5 * HOUR)
    assert len(owner.titles) == 1 + MOST_REPEATS
    house.close()


def test_a_priority_goes_to_those_it_names_and_its_end_too(
    tmp_path: Path, owner: Phone, other: Phone
) -> None:
    house = House(tmp_path / "s", owner, other, priorities={"high": Urgency(to=("b",))})
    house.alarm("raised", priority="high")
    house.run(MINUTE)
    house.alarm("cleared", priority="high")
    house.run(MINUTE)
    assert (len(owner.titles), len(other.titles)) == (0, 2)
    house.alarm("raised", "far")
    house.run(MINUTE)
    assert (len(owner.titles), len(other.titles)) == (1, 3)
    house.close()


def test_a_priority_for_somebody_unknown_is_refused(tmp_path: Path, owner: Phone) -> None:
    with pytest.raises(ValueError, match=r'priorities.high.to names "eve", and no line'):
        House(tmp_path / "s", owner, priorities={"high": Urgency(to=("eve",))})


@pytest.mark.parametrize("text", ["", "22-7", "24:00-07:00", "22:00-22:00", "22:60-07:00", "07:00"])
def test_what_are_no_quiet_hours(text: str) -> None:
    with pytest.raises(ValueError, match="two different times of day"):
        parse_quiet(text)


times = st.integers(0, 24 * 60 - 1)


@given(times, times, times)
def test_quiet_hours_go_round_the_clock(begin: int, end: int, minute: int) -> None:
    if begin != end:
        inside = (minute - begin) % 1440 < (end - begin) % 1440
        assert is_quiet((begin, end), minute) is inside
