"""Parts that rest: the bytes that put them to sleep and wake them, and what a lost one costs."""

from typing import Any

import pytest

from drivers.byte_pairs import byte_pairs
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Part
from ventwright_drivers.serial import hpma, pms, sds011

PMS_FRAME = "42 4D 00 1C 00 03 00 04 00 07 00 04 00 05 00 08 "
PMS_FRAME += "03 1B 00 F9 00 1B 00 06 00 03 00 03 9A 00 02 A2"
PMS_GREETING = "42 4D E1 00 01 01 71 42 4D E4 00 01 01 74"
SDS_WORK = "AA B4 06 01 01" + " 00" * 10 + " FF FF 06 AB"
SDS_SLEEP = "AA B4 06 01" + " 00" * 11 + " FF FF 05 AB"
SDS_REPORT = "AA B4 02 01" + " 00" * 11 + " FF FF 01 AB"
SDS_ON_END = "AA B4 08 01" + " 00" * 11 + " FF FF 07 AB"
SDS_FRAME = "AA C0 D4 04 3A 0A A1 60 1D AB"
ACK = "A5 A5"


def sds_reply(number: int) -> str:
    total = (number + 1 + 1 + 0xA1 + 0x60) & 0xFF
    return f"AA C5 {number:02X} 01 01 00 A1 60 {total:02X} AB"


CASES: dict[str, tuple[type[Any], list[tuple[Any, Any]], int]] = {
    "pms5003": (
        pms.Pms5003,
        [
            (PMS_GREETING, PMS_FRAME),
            ("42 4D E4 00 00 01 73", ""),
            (PMS_GREETING, PMS_FRAME),
        ],
        60_000,
    ),
    "sds011": (
        sds011.Sds011,
        [
            (SDS_WORK, sds_reply(6)),
            (SDS_REPORT, sds_reply(2)),
            (SDS_ON_END, "AA C5 08 01 00 00 A1 60 0A AB" + SDS_FRAME),
            (SDS_SLEEP, "AA C5 06 01 00 00 A1 60 08 AB"),
            (SDS_WORK, sds_reply(6) + SDS_FRAME),
        ],
        60_000,
    ),
    "hpma115s0": (
        hpma.Hpma115S0,
        [
            ("68 01 20 77", ACK),
            ("68 01 01 96", ACK),
            ("68 01 04 93", "40 05 04 00 30 00 31 56"),
            ("68 01 02 95", ACK),
            ("68 01 01 96", ACK),
            ("68 01 04 93", "40 05 04 00 30 00 31 56"),
        ],
        40_000,
    ),
}


def wait(part: Part, ms: int) -> None:
    part.clock.sleep_until(part.clock.now() + ms)


@pytest.mark.parametrize("model", CASES)
def test_it_measures_sleeps_and_wakes(model: str) -> None:
    driver, pairs, window = CASES[model]
    with byte_pairs(driver, pairs, rest=5) as part:
        part.start()
        began = part.clock.now()
        assert part.read() is not None
        wait(part, window - part.clock.now() + began)
        assert part.read() is None
        wait(part, 299_000)
        assert part.read() is None
        assert part.restarts == 0
        wait(part, 1000)
        assert part.read() is not None
        assert part.restarts == 1


@pytest.mark.parametrize("model", CASES)
def test_a_rest_is_allowed_silence_and_a_mute_part_is_not(model: str) -> None:
    driver, pairs, window = CASES[model]
    last = pairs[-1][0]
    with byte_pairs(driver, [*pairs[:-1], *[(last, "")] * _tries(model)], rest=5) as part:
        assert part.silence_ms >= 300_000 + driver.silence_ms
        part.start()
        began = part.clock.now()
        part.read()
        wait(part, window - part.clock.now() + began)
        part.read()
        wait(part, 300_000)
        woken = part.clock.now()
        with pytest.raises(NoAnswer):
            part.read()
        assert part.clock.now() - woken <= 12_000


def _tries(model: str) -> int:
    return 3 if model.startswith("hpma") else 1
