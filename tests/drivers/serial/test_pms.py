"""The 42 4D family: bytes from protocols.md section 2 (marks as there), and what goes wrong."""

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from drivers.byte_pairs import byte_pairs
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.part import Sample
from ventwright_drivers.serial import pms

# Captured frames: protocols.md section 2, confirmed by a published driver.
MILD = (
    "42 4D 00 1C 00 03 00 04 00 07 00 04 00 05 00 08 03 1B 00 F9 00 1B 00 06 00"
    " 03 00 03 9A 00 02 A2"
)
DENSE = (
    "42 4D 00 1C 00 1B 00 21 00 29 00 1A 00 21 00 29 2B FB 04 BE 00 6B 00 10 00"
    " 04 00 04 67 00 04 46"
)
SHORT = "42 4D 00 14 00 1F 00 28 00 30 00 1A 00 24 00 2F 00 00 00 00 00 54 01 DB"
# Computed there from the confirmed layouts.
CLIMATE = (
    "42 4D 00 1C 00 0C 00 12 00 15 00 0C 00 12 00 15 08 52 02 64 00 62 00 09 00"
    " EA 01 C8 91 00 04 80"
)
BOTH = (
    "42 4D 00 24 00 0C 00 12 00 15 00 0C 00 12 00 15 08 52 02 64 00 62 00 09 00 02 00 01 00 25"
    " 00 EA 01 C8 00 00 91 00 04 B0"
)
FROST = BOTH.replace("00 EA 01 C8 00 00 91 00 04 B0", "FF DD 01 C8 00 00 91 00 05 A2")

ACTIVE = "42 4D E1 00 01 01 71"  # datasheet, via protocols.md section 2, confirmed
WAKE = "42 4D E4 00 01 01 74"  # the same
ACTIVE_ACK = "42 4D 00 04 E1 01 01 75"  # the same
SLEEP_ACK = "42 4D 00 04 E4 00 01 77"  # the same

MILD_VALUES = (4, 5, 8, 7.95, 2.49, 0.27, 0.06, 0.03, 0.03)
DENSE_VALUES = (26, 33, 41, 112.59, 12.14, 1.07, 0.16, 0.04, 0.04)
BOTH_VALUES = (12, 18, 21, 21.3, 6.12, 0.98, 0.09, 0.02, 0.01, 37, 23.4, 45.6)

KNOWN = [
    (pms.Pms5003, MILD, MILD_VALUES),
    (pms.Pms7003, DENSE, DENSE_VALUES),
    (pms.Pmsa003, MILD, MILD_VALUES),
    (pms.Pms5003S, MILD, (*MILD_VALUES, 0x9A00)),
    (pms.Pms5003T, CLIMATE, (12, 18, 21, 21.3, 6.12, 0.98, 0.09, 23.4, 45.6)),
    (pms.Pms5003ST, BOTH, BOTH_VALUES),
    (pms.Pms5003ST, FROST, (*BOTH_VALUES[:-2], -3.5, 45.6)),
    (pms.Pms3003, SHORT, (26, 36, 47)),
]
ROWS = [pms.PLAIN, pms.WITH_HCHO, pms.WITH_CLIMATE, pms.WITH_BOTH, pms.SHORT]


def summed(frame: bytes) -> bytes:
    return frame[:-2] + (sum(frame[:-2]) & 0xFFFF).to_bytes(2, "big")


def with_byte(text: str, offset: int, value: int) -> bytes:
    frame = bytearray.fromhex(text)
    frame[offset] = value
    return summed(bytes(frame))


@pytest.mark.parametrize(("driver", "frame", "values"), KNOWN)
def test_known_frames(driver: type, frame: str, values: tuple) -> None:
    greeting = [] if driver is pms.Pms3003 else [(ACTIVE, ACTIVE_ACK), (WAKE, b"")]
    with byte_pairs(driver, [*greeting, (None, frame)]) as part:
        part.start()
        assert part.read() == Sample(values)
        assert len(part.quantities) == len(values)


def test_a_part_that_acknowledges_nothing_and_sends_at_once_is_read() -> None:
    with byte_pairs(pms.Pms5003, [(None, MILD), (ACTIVE, b""), (WAKE, b""), (None, DENSE)]) as part:
        part.start()
        assert part.read() == Sample(DENSE_VALUES)  # both had come: the newest counts


def test_acknowledgements_alone_are_no_answer() -> None:
    with byte_pairs(pms.Pms5003, [(ACTIVE, ACTIVE_ACK), (WAKE, SLEEP_ACK)]) as part:
        part.start()
        with pytest.raises(NoAnswer, match=r"nothing usable for 10 s"):
            part.read()


def test_an_acknowledgement_is_skipped_whole() -> None:
    assert pms.decode(pms.PLAIN, bytes.fromhex(ACTIVE_ACK)) == (8, None)


def test_silence_is_no_answer_after_the_allowance() -> None:
    with byte_pairs(pms.Pms3003, []) as part:
        part.start()
        with pytest.raises(NoAnswer, match=r"/dev/pairs sent nothing for 10 s"):
            part.read()
        assert part.clock.now() == part.silence_ms


def test_the_error_byte_is_reported_beside_the_values() -> None:
    frame = with_byte(MILD, 29, 0x08)
    assert pms.decode(pms.PLAIN, frame) == (32, Sample(MILD_VALUES, "error byte 08"))
    frame = with_byte(BOTH, 37, 0x80)
    assert pms.decode(pms.WITH_BOTH, frame) == (40, Sample(BOTH_VALUES, "error byte 80"))


def test_counts_that_rise_with_size_are_not_believed_and_masses_are() -> None:
    _, sample = pms.decode(pms.PLAIN, bytes.fromhex(CLIMATE))  # a pms5003t taken for a pms5003
    counts = frozenset(("n0_3", "n0_5", "n1", "n2_5", "n5", "n10"))
    assert sample == Sample((12, 18, 21, *(None,) * 6), pms.MIXED, counts)


def test_a_frame_inside_a_frame_is_not_taken() -> None:
    inner = bytes.fromhex(SHORT)
    outer = bytearray.fromhex(BOTH)
    outer[4:28] = inner
    outer = bytearray(summed(bytes(outer)))
    assert pms.decode(pms.WITH_BOTH, bytes(outer))[0] == 40


def test_reading_before_start_and_after_close_says_lost() -> None:
    with byte_pairs(pms.Pms3003, []) as part:
        with pytest.raises(DeviceLost, match="not open"):
            part.read()
        part.start()
        part.close()
        with pytest.raises(DeviceLost, match="not open"):
            part.read()


def every(row: pms.Layout, data: bytes) -> list[Sample]:
    found, used = [], 1
    while used and data:
        used, sample = pms.decode(row, data)
        assert 0 <= used <= len(data)
        assert used or sample is None
        data = data[used:]
        found += [sample] if sample else []
    return found


heads = st.sampled_from([b"\x42", b"\x42\x4d", b"\x42\x4d\x00\x1c", b"\x42\x4d\x00\x04"])
garbage = st.lists(heads | st.binary(max_size=40), max_size=6).map(b"".join)


@given(st.sampled_from(ROWS), garbage)
def test_no_bytes_raise(row: pms.Layout, data: bytes) -> None:
    every(row, data)


# Found by this test: a piece and the head of a frame, whose sum is right by accident.
SPLICED = bytes.fromhex("42 4D 00 1C 42 42 4D 00 04 05 09 0C 19 44 5D 72 7F 8B BC D7 EB")


@given(garbage)
@example(SPLICED)
def test_garbage_before_a_frame_does_not_hide_it(data: bytes) -> None:
    stream = data + bytes.fromhex(MILD)
    overlapping = stream[max(0, len(data) - 31) : len(data) + 1]
    assume(pms.decode(pms.PLAIN, overlapping)[1] is None)  # by accident, and past telling
    assert every(pms.PLAIN, stream)[-1] == Sample(MILD_VALUES)


@given(st.binary(min_size=26, max_size=26), st.integers(1, 0xFFFF))
def test_a_wrong_sum_is_never_a_sample(body: bytes, error: int) -> None:
    frame = summed(b"\x42\x4d\x00\x1c" + body + b"\0\0")
    total = (int.from_bytes(frame[-2:], "big") + error) & 0xFFFF
    used, sample = pms.decode(pms.PLAIN, frame[:-2] + total.to_bytes(2, "big"))
    assert used >= 1
    assert sample is None


@given(st.lists(st.integers(1, 31), max_size=5))
def test_frames_may_come_in_any_pieces(cuts: list[int]) -> None:
    frame = bytes.fromhex(MILD)
    for cut in cuts:
        assert pms.decode(pms.PLAIN, frame[:cut]) == (0, None)
    assert pms.decode(pms.PLAIN, frame) == (32, Sample(MILD_VALUES))
