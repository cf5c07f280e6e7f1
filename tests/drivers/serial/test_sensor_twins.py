"""The emulated particle counters: commands and habits of protocols.md sections 2 and 3."""

from collections.abc import Callable
from typing import Any

import pytest

from fakes import FakeClock, twin_wiring
from ventwright_drivers import registry
from ventwright_drivers.emulated.pms import Pms3003Twin, PmsTwin, _PmsTwin
from ventwright_drivers.emulated.sds011 import Sds011Twin

AIR = {
    "pm1": 11.6,
    "pm2_5": 23.4,
    "pm10": 31.2,
    "n0_3": 21.304,
    "n0_5": 6.12,
    "n1": 0.98,
    "n2_5": 0.09,
    "n5": 0.02,
    "n10": 0.01,
    "hcho": 37.2,
    "temperature": -3.52,
    "humidity": 45.6,
}
SEEN = {**AIR, "pm1": 12, "pm2_5": 23, "pm10": 31, "n0_3": 21.3, "hcho": 37, "temperature": -3.5}
FAMILY = [model for model, twin in registry.twins().items() if issubclass(twin, _PmsTwin)]

# Datasheet, via protocols.md section 2, confirmed.
PASSIVE, PASSIVE_ACK = "42 4D E1 00 00 01 70", "42 4D 00 04 E1 00 01 74"
ACTIVE, ACTIVE_ACK = "42 4D E1 00 01 01 71", "42 4D 00 04 E1 01 01 75"
READ = "42 4D E2 00 00 01 71"
SLEEP, SLEEP_ACK = "42 4D E4 00 00 01 73", "42 4D 00 04 E4 00 01 77"
WAKE = "42 4D E4 00 01 01 74"
ZERO = "42 4D 00 1C" + " 00" * 24 + " 97 00 01 42"


def say(twin: Any, text: str, now: int) -> bytes:
    twin.receive(bytes.fromhex(text), now)
    return twin.emit(now)


def frames(twin: Any, start: int, end: int) -> list[tuple[int, bytes]]:
    return [(now, data) for now in range(start, end) if (data := twin.emit(now))]


@pytest.mark.parametrize("model", FAMILY)
def test_every_layout_of_the_twin_is_what_the_driver_reads(model: str) -> None:
    clock = FakeClock(5_000)
    driver = registry.parts()[model]
    twin = registry.twins()[model](AIR.__getitem__)
    with driver(driver.Options(port="/dev/twin"), twin_wiring(clock, twin)) as part:
        for _ in range(2):
            assert set(part.read().values[:3]) == {0}  # zeros straight after start
        sample = part.read()
    assert dict(zip(driver.quantities, sample.values, strict=True)) == {
        name: SEEN[name] for name in driver.quantities
    }


def test_frames_come_slowly_in_steady_air_and_fast_in_changing_air() -> None:
    air = dict(AIR)
    twin = PmsTwin(air.__getitem__)
    times = [now for now, _ in frames(twin, 0, 10_000)]
    assert times == [2300, 3100, 5400, 7700]  # from nothing to 23 µg/m³ is a change
    air["pm2_5"] = 200
    assert [now for now, _ in frames(twin, 10_000, 14_000)] == [10_000, 10_800, 13_100]


def test_the_first_frames_are_zero() -> None:
    twin = PmsTwin(AIR.__getitem__)
    first = [data for _, data in frames(twin, 0, 6000)]
    assert first[:2] == [bytes.fromhex(ZERO)] * 2
    assert first[2] != bytes.fromhex(ZERO)


def test_passive_mode_speaks_only_when_asked() -> None:
    twin = PmsTwin(AIR.__getitem__)
    assert say(twin, READ, 0) == b""  # not in active mode
    assert say(twin, PASSIVE, 100) == bytes.fromhex(PASSIVE_ACK)
    assert frames(twin, 101, 10_000) == []
    assert twin.due() is None
    assert len(say(twin, READ, 10_000)) == 32
    assert say(twin, ACTIVE, 10_001) == bytes.fromhex(ACTIVE_ACK)
    assert len(frames(twin, 10_002, 20_000)) >= 4


def test_sleep_is_deaf_then_hears_wake_only_and_wakes_active() -> None:
    twin = PmsTwin(AIR.__getitem__)
    say(twin, PASSIVE, 0)
    assert say(twin, SLEEP, 10) == bytes.fromhex(SLEEP_ACK)
    assert say(twin, WAKE, 2009) == b""  # still deaf
    assert say(twin, ACTIVE, 2010) == b""  # asleep
    assert frames(twin, 2010, 8000) == []
    assert say(twin, WAKE, 8000) == b""  # never acknowledged
    assert say(twin, PASSIVE, 9999) == b""  # deaf again
    woken = frames(twin, 8000, 20_000)
    assert woken[0] == (10_300, bytes.fromhex(ZERO))
    assert len(woken) > 4


@pytest.mark.parametrize(
    "spoilt", ["42 4D E1 00 00 01 71", "42 4D E1 00 00", "FF" * 40, "42 42 42 42"]
)
def test_spoilt_commands_are_ignored(spoilt: str) -> None:
    twin = PmsTwin(AIR.__getitem__)
    assert say(twin, spoilt, 0) == b""
    assert frames(twin, 0, 3000)


def test_commands_may_come_in_pieces_and_behind_garbage() -> None:
    twin = PmsTwin(AIR.__getitem__)
    assert say(twin, "42 42 4D E1", 0) == b""
    assert say(twin, "00 00 01 70", 1) == bytes.fromhex(PASSIVE_ACK)


def test_the_short_part_hears_nothing() -> None:
    twin = Pms3003Twin(AIR.__getitem__)
    assert say(twin, PASSIVE + SLEEP, 0) == b""
    assert len(frames(twin, 0, 6000)[0][1]) == 24


@pytest.mark.parametrize("asleep", [SLEEP, PASSIVE])
def test_the_driver_brings_a_sleeping_or_passive_part_back(asleep: str) -> None:
    clock = FakeClock()
    twin = PmsTwin(AIR.__getitem__)
    say(twin, asleep, 0)
    clock.sleep_until(5000)
    driver = registry.parts()["pms5003"]
    with driver(driver.Options(port="/dev/twin"), twin_wiring(clock, twin)) as part:
        assert part.read()


def test_the_error_byte_reaches_the_driver() -> None:
    twin = PmsTwin(AIR.__getitem__, error=0x04)
    driver = registry.parts()["pms5003"]
    with driver(driver.Options(port="/dev/twin"), twin_wiring(FakeClock(), twin)) as part:
        part.read()
        part.read()
        assert part.read().fault == "error byte 04"


# Datasheet examples for device A1 60, via protocols.md section 3, confirmed.
SDS_PAIRS = [
    ("AA B4 02" + " 00" * 12 + " FF FF 00 AB", "AA C5 02 00 00 00 A1 60 03 AB"),
    ("AA B4 02 01 01" + " 00" * 10 + " A1 60 05 AB", "AA C5 02 01 01 00 A1 60 05 AB"),
    ("AA B4 04" + " 00" * 12 + " FF FF 02 AB", "AA C0 D4 04 3A 0A A1 60 1D AB"),
    ("AA B4 05" + " 00" * 10 + " A0 01 A1 60 A7 AB", "AA C5 05 00 00 00 A0 01 A6 AB"),
    ("AA B4 06 01" + " 00" * 11 + " A1 60 08 AB", "AA C5 06 01 00 00 A1 60 08 AB"),
    ("AA B4 06 01 01" + " 00" * 10 + " A1 60 09 AB", "AA C5 06 01 01 00 A1 60 09 AB"),
    ("AA B4 08 01 01" + " 00" * 10 + " A1 60 0B AB", "AA C5 08 01 01 00 A1 60 0B AB"),
    ("AA B4 08 01" + " 00" * 11 + " A1 60 0A AB", "AA C5 08 01 00 00 A1 60 0A AB"),
    ("AA B4 07" + " 00" * 12 + " A1 60 08 AB", "AA C5 07 0F 07 0A A1 60 28 AB"),
]
SDS = {"pm2_5": 123.6, "pm10": 261.8}
SDS_SLEEP, SDS_WORK = SDS_PAIRS[4][0], SDS_PAIRS[5][0]
QUERY_MODE, FIRMWARE = SDS_PAIRS[1][0], SDS_PAIRS[8][0]


@pytest.mark.parametrize(("request_", "reply"), SDS_PAIRS)
def test_the_datasheets_pairs(request_: str, reply: str) -> None:
    twin = Sds011Twin(SDS.__getitem__, reply_ms=0)
    assert say(twin, request_, 0) == bytes.fromhex(reply)


def test_asleep_only_06_is_heard_and_settings_stay() -> None:
    twin = Sds011Twin(SDS.__getitem__, reply_ms=0)
    say(twin, QUERY_MODE, 0)
    say(twin, SDS_SLEEP, 1)
    assert say(twin, FIRMWARE, 2) == b""
    assert frames(twin, 3, 5000) == []
    assert say(twin, SDS_WORK, 5000)
    assert twin.active is False
    assert frames(twin, 5001, 9000) == []


def test_active_mode_reports_once_a_second_between_replies() -> None:
    twin = Sds011Twin(SDS.__getitem__)
    say(twin, FIRMWARE, 0)
    got = frames(twin, 0, 3500)
    assert [now for now, _ in got] == [100, 1000, 2000, 3000]
    assert got[1][1] == bytes.fromhex(SDS_PAIRS[2][1])


def test_a_working_period_works_30_s_and_pauses_the_rest() -> None:
    twin = Sds011Twin(SDS.__getitem__, period=1, reply_ms=0)
    times = [now for now, _ in frames(twin, 0, 70_000)]
    assert times == [*range(1000, 30_000, 1000), *range(60_000, 70_000, 1000)]
    assert say(twin, FIRMWARE, 95_000) == b""  # in its pause
    assert twin.due() == 120_000


def test_the_driver_waits_through_the_pause() -> None:
    clock = FakeClock()
    twin = Sds011Twin(SDS.__getitem__, period=2)
    driver = registry.parts()["sds011"]
    with driver(driver.Options(port="/dev/twin"), twin_wiring(clock, twin)) as part:
        assert part.silence_ms == 130_000
        while clock.now() < 29_000:
            assert part.read().values == (123.6, 261.8)
        assert part.read().values == (123.6, 261.8)
        assert clock.now() == 120_000


def test_the_driver_wakes_a_sleeping_part_that_was_left_in_query_mode() -> None:
    clock = FakeClock()
    twin = Sds011Twin(SDS.__getitem__, active=False, awake=False)
    driver = registry.parts()["sds011"]
    with driver(driver.Options(port="/dev/twin"), twin_wiring(clock, twin)) as part:
        assert part.read().values == (123.6, 261.8)


@pytest.mark.parametrize(
    "spoil", [lambda t: t.replace("A1 60", "A1 61"), lambda t: t[:-5] + "00 AB", lambda t: t[3:]]
)
def test_other_devices_and_spoilt_commands_get_no_reply(spoil: Callable[[str], str]) -> None:
    twin = Sds011Twin(SDS.__getitem__, reply_ms=0)
    assert say(twin, spoil(FIRMWARE), 0) == b""
