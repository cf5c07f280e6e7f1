"""The AA frames: the datasheet's examples via protocols.md section 3, confirmed there."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.byte_pairs import byte_pairs
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Sample
from ventwright_drivers.serial.sds011 import Reply, Sds011, command, decode

# Broadcast commands; their checksums were computed there.
WORK = "AA B4 06 01 01" + " 00" * 10 + " FF FF 06 AB"
SET_ACTIVE = "AA B4 02 01 00" + " 00" * 10 + " FF FF 01 AB"
ASK_PERIOD = "AA B4 08" + " 00" * 12 + " FF FF 06 AB"  # computed here

# Datasheet, device A1 60.
MEASURED = "AA C0 D4 04 3A 0A A1 60 1D AB"
WORKS = "AA C5 06 01 01 00 A1 60 09 AB"
IS_ACTIVE = "AA C5 02 01 00 00 A1 60 04 AB"  # computed from the layout
TWO_MINUTES = "AA C5 08 00 02 00 A1 60 0B AB"
CONTINUOUS = "AA C5 08 00 00 00 A1 60 09 AB"  # computed from the layout

SAMPLE = Sample((123.6, 261.8))
MUTE_START = [(WORK, b""), (SET_ACTIVE, b""), (ASK_PERIOD, b"")]


@pytest.mark.parametrize(
    ("number", "values", "device", "frame"),
    [
        (0x02, (), 0xFFFF, "AA B4 02" + " 00" * 12 + " FF FF 00 AB"),
        (0x02, (1, 1), 0xA160, "AA B4 02 01 01" + " 00" * 10 + " A1 60 05 AB"),
        (0x04, (), 0xFFFF, "AA B4 04" + " 00" * 12 + " FF FF 02 AB"),
        (0x06, (1, 0), 0xA160, "AA B4 06 01" + " 00" * 11 + " A1 60 08 AB"),
        (0x06, (1, 1), 0xA160, "AA B4 06 01 01" + " 00" * 10 + " A1 60 09 AB"),
        (0x07, (), 0xA160, "AA B4 07" + " 00" * 12 + " A1 60 08 AB"),
        (0x08, (1, 1), 0xA160, "AA B4 08 01 01" + " 00" * 10 + " A1 60 0B AB"),
        (0x08, (1, 0), 0xFFFF, "AA B4 08 01" + " 00" * 11 + " FF FF 07 AB"),
    ],
)
def test_commands(number: int, values: tuple[int, ...], device: int, frame: str) -> None:
    assert command(number, *values, device=device) == bytes.fromhex(frame)


@pytest.mark.parametrize(
    ("frame", "content"),
    [
        (MEASURED, SAMPLE),
        ("AA C5 02 00 01 00 A1 60 04 AB", Reply(2, b"\0\1\0")),
        ("AA C5 05 00 00 00 A0 01 A6 AB", Reply(5, b"\0\0\0")),
        ("AA C5 07 0F 07 0A A1 60 28 AB", Reply(7, b"\x0f\x07\x0a")),
        (TWO_MINUTES, Reply(8, b"\0\2\0")),
    ],
)
def test_replies(frame: str, content: Sample | Reply) -> None:
    assert decode(bytes.fromhex(frame)) == (10, content)


def test_start_and_read_with_measurements_between_the_replies() -> None:
    pairs = [
        (WORK, WORKS + MEASURED),
        (SET_ACTIVE, MEASURED + IS_ACTIVE),
        (ASK_PERIOD, CONTINUOUS),
    ]
    with byte_pairs(Sds011, pairs) as part:
        part.start()
        assert part.clock.now() == 0  # every reply came at once: no wait
        assert part.silence_ms == 10_000
        assert part.read() == SAMPLE  # kept from the start


def test_a_mute_part_costs_the_start_three_seconds_and_no_error() -> None:
    with byte_pairs(Sds011, [*MUTE_START, (None, MEASURED)]) as part:
        part.start()
        assert part.clock.now() == 3000
        assert part.read() == SAMPLE


def test_a_working_period_stretches_the_silence_that_is_allowed() -> None:
    with byte_pairs(Sds011, [*MUTE_START[:2], (ASK_PERIOD, TWO_MINUTES)]) as part:
        part.start()
        assert part.silence_ms == 130_000
        assert Sds011.silence_ms == 10_000
        before = part.clock.now()
        with pytest.raises(NoAnswer, match="sent nothing for 130 s"):
            part.read()
        assert part.clock.now() - before == 130_000


def test_replies_alone_are_no_measurement() -> None:
    with byte_pairs(Sds011, [*MUTE_START, (None, WORKS)]) as part:
        part.start()
        with pytest.raises(NoAnswer):
            part.read()
        assert part.clock.now() == 13_000


def every(data: bytes) -> list[Sample | Reply]:
    found, used = [], 1
    while used and data:
        used, content = decode(data)
        assert 0 <= used <= len(data)
        data = data[used:]
        found += [content] if content else []
    return found


heads = st.sampled_from(
    [b"\xaa", b"\xaa\xc0", b"\xaa\xc5", b"\xaa\xb4", bytes.fromhex(MEASURED)[:9]]
)
garbage = st.lists(heads | st.binary(max_size=20), max_size=8).map(b"".join)


@given(garbage)
def test_no_bytes_raise_and_none_hide_the_frame_behind_them(data: bytes) -> None:
    every(data)
    assert every(data + bytes.fromhex(MEASURED))[-1] == SAMPLE


@given(st.binary(min_size=6, max_size=6), st.integers(1, 255), st.sampled_from([0xC0, 0xC5]))
def test_a_wrong_sum_is_never_anything(body: bytes, error: int, kind: int) -> None:
    frame = bytes((0xAA, kind, *body, (sum(body) + error) & 0xFF, 0xAB))
    used, content = decode(frame)
    assert used >= 1
    assert content is None


def test_the_tail_counts() -> None:
    assert decode(bytes.fromhex(MEASURED)[:9] + b"\xac")[1] is None
