"""Raw gas signals: the clean-air baseline is on the side of clean air, and the ratio is to it."""

from typing import Any

import pytest

import rooms
from ventwright.commands.status import _channel_line
from ventwright.events import Measured, Record, Started
from ventwright.keeper.core import Core
from ventwright.keeper.status import status
from ventwright.means.channel import Channel
from ventwright.notifying.message import Context
from ventwright.notifying.messages import compose
from ventwright.quality.judge import PartKind
from ventwright.settings.model import PartEntry
from ventwright.storage.reader import StoredEvent
from ventwright_drivers.part import Sample
from ventwright_drivers.quantities import QUANTITIES

MINUTE = 60_000
RAW = {name for name, quantity in QUANTITIES.items() if quantity.raw}


def channel(name: str) -> Channel:
    made = Channel(f"gas.{name}", QUANTITIES[name], 1000)
    made.watch(MINUTE)
    return made


def show(made: Channel, start: int, minutes: int, step: int) -> int:
    for t in range(start, start + minutes * MINUTE, 1000):
        made.add(t, step)
    return start + minutes * MINUTE


@pytest.mark.parametrize(
    ("name", "clean", "dirty"),
    [
        ("voc_raw", 30_000, 20_000),
        ("gas_resistance", 230_000, 60_000),
        ("nox_raw", 18_000, 25_000),
    ],
)
def test_a_dirty_evening_does_not_become_the_clean_air(name: str, clean: int, dirty: int) -> None:
    made = channel(name)
    t = show(made, 0, 60, clean)
    assert made.base == clean
    t = show(made, t, 120, dirty)
    assert made.base == clean
    assert made.baseline.held > 100
    show(made, t, 60, clean)
    assert made.base == clean


def test_cleaner_air_than_known_is_followed_at_once() -> None:
    made = channel("voc_raw")
    t = show(made, 0, 60, 25_000)
    show(made, t, 120, 30_000)
    assert made.base is not None
    assert made.base > 29_900


def test_what_is_saved_comes_back_on_the_same_side() -> None:
    made, other = channel("voc_raw"), channel("voc_raw")
    t = show(made, 0, 60, 30_000)
    other.restore_baseline(made.save_baseline(), t)
    other.load(list(range(t + 1000, t + 10 * MINUTE, 1000)), [29_990] * 599)
    other.resume()
    assert other.base == pytest.approx(30_000, abs=10)
    third = channel("voc_raw")
    for _ in range(10):
        third.learn(30_000)
    assert third.base == 30_000


def core_at(value: float, quantity: str, told: list[Record] | None = None, **alarms: Any) -> Core:
    kind = PartKind("sgp40", (quantity,), 1000, 10_000, 0, optical=False)
    settings = rooms.room(alarms=alarms, extractors={}, relays={})
    settings.parts["bench"] = PartEntry("sgp40", "", None, (quantity,))
    core = Core(settings, {"bench": kind}, 0)
    core.handle(Started(0, "bench"))
    for t in range(1000, 20 * MINUTE, 1000):
        sample = Sample((value if t > 18 * MINUTE else 30_000.0,))
        actions = core.handle(Measured(t, "bench", sample))
        if told is not None:
            told += (one for one in actions if isinstance(one, Record))
    return core


@pytest.mark.parametrize("quantity", sorted(RAW))
def test_the_phone_tells_the_ratio(quantity: str) -> None:
    told: list[Record] = []
    dirty = 21_000 if QUANTITIES[quantity].falls else 39_000
    alarm = rooms.alarm(
        f"bench.{quantity}", compare="departure", over=MINUTE, setpoint=20, deadband=5
    )
    core_at(dirty, quantity, told, smell=alarm)
    (raised,) = (one for one in told if one.kind == "alarm")
    event = StoredEvent(1, 1, raised.t, raised.kind, raised.subject, raised.body)
    message = compose(event, Context("Workshop"))
    assert message is not None
    assert "% off clean air" in message.title
    assert f"{raised.body['mean'] / raised.body['baseline']:.2f} of the 30000 of" in message.body
    assert "no concentration" in message.body


@pytest.mark.parametrize("quantity", sorted(RAW))
def test_the_status_tells_the_ratio_and_no_rise(quantity: str) -> None:
    core = core_at(24_000, quantity)
    keeping = type("Keeping", (), {"failing": "", "last_commit": None, "unstored": []})
    told = status(core, keeping, 0, settled=True)["parts"]["bench"]["channels"][quantity]  # type: ignore[arg-type]
    assert told["ratio to clean air"] == pytest.approx(0.8, abs=0.01)
    assert told["rise"] is told["rise sigma"] is None
    line = _channel_line(quantity, told)
    assert "0.8 of clean air (30000)" in line
    assert "over a baseline" not in line


def test_what_is_a_concentration_has_no_ratio() -> None:
    core = core_at(24_000, "co2")
    keeping = type("Keeping", (), {"failing": "", "last_commit": None, "unstored": []})
    told = status(core, keeping, 0, settled=True)["parts"]["bench"]["channels"]["co2"]  # type: ignore[arg-type]
    assert told["ratio to clean air"] is None
    assert told["rise"] is not None
