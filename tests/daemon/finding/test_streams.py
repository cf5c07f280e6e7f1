"""Recognising what parts send by themselves: captured and computed frames of protocols.md."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.finding.questions import QUESTIONS
from ventwright.finding.streams import heard

MILD = (
    "42 4D 00 1C 00 03 00 04 00 07 00 04 00 05 00 08 03 1B 00 F9 00 1B 00 06 00"
    " 03 00 03 9A 00 02 A2"
)
CLIMATE = (
    "42 4D 00 1C 00 0C 00 12 00 15 00 0C 00 12 00 15 08 52 02 64 00 62 00 09 00"
    " EA 01 C8 91 00 04 80"
)
BOTH = (
    "42 4D 00 24 00 0C 00 12 00 15 00 0C 00 12 00 15 08 52 02 64 00 62 00 09 00 02 00 01 00 25"
    " 00 EA 01 C8 00 00 91 00 04 B0"
)
ZERO = "42 4D 00 1C" + " 00" * 24 + " 97 00 01 42"
SHORT = "42 4D 00 14 00 1F 00 28 00 30 00 1A 00 24 00 2F 00 00 00 00 00 54 01 DB"
HPMA_S0 = "42 4D 00 1C 00 00 00 30 00 31" + " 00" * 20 + " 01 0C"
HPMA_C0 = "42 4D 00 1C 00 30 00 31 00 32 00 33" + " 00" * 18 + " 01 71"
DUST = "AA C0 D4 04 3A 0A A1 60 1D AB"
CO = "FF 04 03 01 00 25 13 88 38"
ZE08 = "FF 17 04 00 00 25 13 88 25"
WZ = "FF 17 04 00 00 25 07 D0 E9"

COUNTERS = ("pms5003", "pms7003", "pmsa003")
ALL_28 = {*COUNTERS, "pms5003s", "pms5003t", "hpma115s0", "hpma115c0"}
KNOWN = [
    (MILD, COUNTERS),
    (ZERO + MILD, COUNTERS),
    (CLIMATE, ("pms5003t",)),
    (BOTH, ("pms5003st",)),
    (SHORT, ("pms3003",)),
    (HPMA_S0, ("hpma115s0",)),
    (HPMA_C0, ("hpma115c0", "hpma115s0")),
    (DUST, ("sds011",)),
    (CO, ("ze07-co",)),
    (ZE08, ("ze08-ch2o",)),
    (WZ, ("wz-s",)),
]


@pytest.mark.parametrize(("frame", "models"), KNOWN)
@pytest.mark.parametrize("before", ["", "00", "42 4D 00", "FF 17 04", "AA C0 00"])
def test_known_frames_behind_what_is_left_of_one(
    frame: str, models: tuple[str, ...], before: str
) -> None:
    assert heard(bytes.fromhex(before + frame)) == models


@pytest.mark.parametrize(("frame", "models"), KNOWN)
def test_a_wrong_checksum_is_nobody(frame: str, models: tuple[str, ...]) -> None:
    for at in range(len(bytes.fromhex(frame))):
        spoilt = bytearray.fromhex(frame)
        spoilt[at] ^= 0x01
        if bytes.fromhex(frame)[at] and frame != ZERO + MILD:
            assert heard(bytes(spoilt)) == (), at


def test_frames_of_zeros_only_could_be_any() -> None:
    assert set(heard(bytes.fromhex(ZERO))) == ALL_28


def sent(*words: int) -> bytes:
    frame = b"".join(word.to_bytes(2, "big") for word in (0x424D, 28, *words))
    return frame + sum(frame).to_bytes(2, "big")


MASS_AND_FINE = (3, 4, 7, 4, 5, 8, 795, 249, 27, 6)


@pytest.mark.parametrize(
    ("coarse", "last", "added"),
    [
        ((3, 1), 0x9700, ()),
        ((0, 0), 0x9700, ("pms5003t",)),  # no coarse particle, or a thermometer that is dead
        ((3, 1), 40, ("pms5003s",)),  # a version of 0 and an error, or formaldehyde
        ((6, 5), 0x9700, ()),
    ],
)
def test_numbers_that_no_room_has_rule_a_variant_out(
    coarse: tuple[int, int], last: int, added: tuple[str, ...]
) -> None:
    assert heard(sent(*MASS_AND_FINE, *coarse, last)) == (*COUNTERS, *added)


def test_an_unknown_full_scale_leaves_both_formaldehyde_parts() -> None:
    assert heard(bytes.fromhex("FF 17 04 00 00 25 03 E8 D5")) == ("ze08-ch2o", "wz-s")


def test_acknowledgements_and_settings_are_no_measurements() -> None:
    assert heard(bytes.fromhex("42 4D 00 04 E1 01 01 75")) == ()
    assert heard(bytes.fromhex("AA C5 02 00 00 00 A1 60 03 AB")) == ()
    assert heard(bytes.fromhex("FF 04 07 01 00 25 13 88 34")) == ()  # a unit that nobody has


@given(st.binary(max_size=200))
def test_no_bytes_raise(data: bytes) -> None:
    heard(data)
    for question in QUESTIONS:
        question.answered(data)


@pytest.mark.parametrize(
    ("answer", "models"),
    [
        ("FF 86 02 20 00 00 00 00 58", ("mh-z19b", "mh-z19c")),
        ("FF 86 00 2A 00 00 00 20 30", ("ze08-ch2o", "wz-s")),  # the manual's own 42 and 32
        ("FF 86 00 2E 00 00 00 25 27", ("ze08-ch2o", "wz-s")),
        ("FF 86 00 25 00 00 00 00 55", ("ze07-co", "ze08-ch2o", "wz-s", "mh-z19b", "mh-z19c")),
        (b"CH1: OFF\r\nCH2: ON\r\n".hex(), ("relay-a0",)),
        ("FF 01 86 00 00 00 00 00 79", ()),  # our own words come back
        ("00 00", ()),
    ],
)
def test_answers_to_the_reading_of_gas_parts(answer: str, models: tuple[str, ...]) -> None:
    assert QUESTIONS[0].answered(bytes.fromhex(answer)) == models


@pytest.mark.parametrize(
    ("answer", "models"),
    [
        ("40 05 04 00 30 00 31 56", ("hpma115s0",)),
        ("40 0D 04 00 30 00 31 00 32 00 33 00 00 00 00 E9", ("hpma115c0",)),
        ("96 96", ("hpma115s0", "hpma115c0")),
        ("40 02 10 64 4A", ()),
    ],
)
def test_answers_of_the_hpma(answer: str, models: tuple[str, ...]) -> None:
    assert QUESTIONS[2].answered(bytes.fromhex(answer)) == models


def test_a_modbus_board_is_known_by_answer_or_exception_and_not_by_an_echo() -> None:
    question = QUESTIONS[4]
    assert question.answered(bytes.fromhex("01 01 01 00 51 88")) == ("relay-modbus",)
    assert question.answered(question.sent + bytes.fromhex("01 81 02 C1 91")) == ("relay-modbus",)
    assert question.answered(question.sent) == ()


def test_only_the_sps30_has_its_product_type() -> None:
    question = QUESTIONS[5]
    right = "7E 00 D0 00 09 30 30 30 38 30 30 30 30 00 9E 7E"
    other = "7E 00 D0 00 09 30 30 30 39 30 30 30 30 00 9D 7E"
    assert question.answered(bytes.fromhex(right)) == ("sps30",)
    assert question.answered(bytes.fromhex(other)) == ()
    assert question.answered(question.sent) == ()  # an echo parses as a reply, with a state
